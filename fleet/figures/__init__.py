"""Figures over time, counted from stored segments, verdicts and readings."""
