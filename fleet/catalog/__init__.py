"""Reference data only: kinds, roles, procedures, readings, findings, with their sources; knows no portfolio."""
