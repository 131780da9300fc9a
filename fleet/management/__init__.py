"""A door: the commands that start, stop, check and repair an installation."""
