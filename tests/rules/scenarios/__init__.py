"""Scenarios: boilers, visits and what must follow, written down by people who know boilers."""
