"""Figures over time, as charts and tables."""
