"""Who goes where, when and with what: jobs, settled by a visit."""
