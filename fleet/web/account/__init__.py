"""Signing in, the account of a person, keys and calendar feeds."""
