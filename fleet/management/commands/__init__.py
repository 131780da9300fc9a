"""The commands of `manage.py`; each hands over to one function."""
