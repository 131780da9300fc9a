"""The commands of `manage.py`. Each calls one function."""
