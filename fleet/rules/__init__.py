"""PURE. From evidence to verdicts, states, findings, standings, readiness and conditions."""

from fleet.rules.judge import VERSION, judge
from fleet.rules.timeline.replay_cache import ReplayCache

BUILD = f"r{VERSION}."  # how the build of every conclusion by these rules begins

__all__ = ["BUILD", "VERSION", "ReplayCache", "judge"]
