"""PURE. From evidence to verdicts, states, findings, standings, readiness and conditions."""

from fleet.rules.judge import VERSION, judge

__all__ = ["VERSION", "judge"]
