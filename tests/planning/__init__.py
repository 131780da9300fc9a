"""Tests of the planning of a day."""
