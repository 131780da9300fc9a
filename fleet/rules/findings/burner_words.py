"""Whether the burner fired, by what was written of it: one answer for pressures, levels, locks and reports."""

from fleet.rules.values import EntryFact, VisitFact
from fleet.rules.vocabulary import FOUND_OFF, ArrivalState, EntryAct, Outcome

FIRES_TO_PASS = frozenset({"operating_control_trip", "limit_trip", "three_cycles", "normal_restart"})
RESTART = "normal_restart"  # failed, it may never have lit
FIRE_SEEN = frozenset(
    {"found_firing", "light_off_puff", "light_off_bang", "spilling_after_five_minutes", "switch_opened_fuel_burned"}
)
OFF_SEEN = frozenset({"found_off", "left_off"})
SHUT_OFF = frozenset({"lock_off", "shut_fuel"})


def proves_firing(entry: EntryFact) -> bool:
    """Return whether an entry says that the burner fired: by its reading, by what was seen, or by a test of it.

    A trip or restart that passed needs a fire. A trip that failed fired on; one that was read was reached by a fire.
    """
    if entry.readings.get("burner_firing") is True or (entry.act == EntryAct.OBSERVE and entry.code in FIRE_SEEN):
        return True
    if entry.code not in FIRES_TO_PASS or entry.outcome == Outcome.NOT_DONE:
        return False
    failed_on = entry.outcome == Outcome.FAIL and entry.code != RESTART
    return entry.outcome == Outcome.PASS or failed_on or "trip_psi" in entry.readings


def says_off(entry: EntryFact) -> bool:
    """Return whether an entry says that the burner was seen off, or left off."""
    return entry.act == EntryAct.OBSERVE and entry.code in OFF_SEEN


def was_firing(visit: VisitFact, entry: EntryFact) -> bool:
    """Return whether the burner was firing or the boiler hot when it was seen; where nobody says, it is taken to fire.

    How the boiler was found speaks until an entry of the visit proves that it fires.
    """
    burner_firing = entry.readings.get("burner_firing")
    if isinstance(burner_firing, bool):
        return burner_firing
    return _was_lit_before(visit, entry) or visit.state_on_arrival not in FOUND_OFF


def is_burner_on(visit: VisitFact, entry: EntryFact) -> bool:
    """Return whether the burner fired when something was read; a boiler that stood by did not before it was lit."""
    stood_by = visit.state_on_arrival == ArrivalState.STANDING_BY and "burner_firing" not in entry.readings
    return was_firing(visit, entry) and (not stood_by or _was_lit_before(visit, entry))


def _was_lit_before(visit: VisitFact, entry: EntryFact) -> bool:
    """Return whether an earlier entry of the visit proves a fire, with no word since that it was off or shut off."""
    earlier = [e for e in visit.entries if (e.at, e.number) < (entry.at, entry.number)]
    for before in sorted(earlier, key=lambda e: (e.at, e.number), reverse=True):
        if proves_firing(before):
            return True
        if says_off(before) or before.code in SHUT_OFF:
            return False
    return False
