"""The texts of notices: what a person reads who is called, told of an end, given a job, or sent a digest."""
