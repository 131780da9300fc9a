"""The sources of all numbers."""
