"""The REST API: a door. It reads the clock, checks access, calls one function of the pipeline and renders."""
