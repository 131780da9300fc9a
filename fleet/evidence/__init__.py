"""Reads one boiler's facts as values of the rules, in a fixed number of queries; stores nothing."""

from fleet.evidence.gather import Read, build_of, gather

__all__ = ["Read", "build_of", "gather"]
