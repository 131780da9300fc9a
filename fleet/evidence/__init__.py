"""One boiler's facts as the rules want them, in a fixed number of queries; stores nothing."""

from fleet.evidence.gather import Read, build_of, gather

__all__ = ["Read", "build_of", "gather"]
