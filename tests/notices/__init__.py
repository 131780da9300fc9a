"""Tests of the notices: who is called of what, when, and whether it arrives once."""
