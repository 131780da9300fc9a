"""Tests of who people are and what they are let in with."""
