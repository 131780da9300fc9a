"""Short ways to write the lines of an invented visit."""

from fleet.management.town.story_values import TownLine, Value


def observe_line(code: str, place: str = "", minute: int = 5, **readings: Value) -> TownLine:
    """Return the line of an observation."""
    return TownLine("observe", code, place, minute, readings=readings)


def action_line(code: str, place: str, minute: int = 20) -> TownLine:
    """Return the line of an action."""
    return TownLine("action", code, place, minute)


def proof_line(code: str, place: str, minute: int = 40, outcome: str = "pass", **readings: Value) -> TownLine:
    """Return the line of a test; readings left out are those of a sound device."""
    return TownLine("test", code, place=place, minute=minute, outcome=outcome, readings=readings)
