"""Reads one boiler's facts as values of the rules, in a fixed number of queries; stores nothing."""

from fleet.evidence.gather import VisitLineCache, build_of, gather_evidence

__all__ = ["VisitLineCache", "build_of", "gather_evidence"]
