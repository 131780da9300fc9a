"""The words a visit is written in: what was done, what came of it, how the boiler was met and how it was left.

Every other place takes them from here: the checks of what is posted, the choices of the API, the rules, the pages.
"""

from collections.abc import Iterable
from enum import StrEnum


def values_of(words: Iterable[StrEnum]) -> tuple[str, ...]:
    """Return the words as plain texts, in their order: for choices, for columns and keys of counts."""
    return tuple(word.value for word in words)


class EntryAct(StrEnum):
    """What one entry of a visit does."""

    TEST = "test"
    ACTION = "action"
    OBSERVE = "observe"
    REPLACE = "replace"
    FIT = "fit"
    REMOVE = "remove"
    SET = "set"


FITTING_ACTS = (EntryAct.REPLACE, EntryAct.FIT)  # put a device into a place
OCCUPANT_ACTS = (*FITTING_ACTS, EntryAct.REMOVE)  # change what fills a place
DATA_ACTS = (*OCCUPANT_ACTS, EntryAct.SET)  # change what the register knows of a place
WORK_ACTS = (EntryAct.ACTION, *DATA_ACTS)  # do something to a device: what follows is no longer as found


class Outcome(StrEnum):
    """What came of a test: the first four may be claimed, the last two only judged."""

    PASS = "pass"
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"
    NOT_DONE = "not_done"
    NOT_A_TEST = "not_a_test"  # nothing was asked of the device, as in a flush with the burner off
    NOTED = "noted"  # neither proves nor accuses, as a test button


CLAIMED_OUTCOMES = (Outcome.PASS, Outcome.FAIL, Outcome.INCONCLUSIVE, Outcome.NOT_DONE)


class PaperBody(StrEnum):
    """Whose paper somebody may hold; each is the qualification whose good news it brings."""

    VALVE_SHOP = "valve_shop"
    INSPECTOR = "inspector"
    BACKFLOW_TESTER = "backflow_tester"
    UTILITY = "utility"


PAPER_BODIES = values_of(PaperBody)


class NameReply(StrEnum):
    """What somebody says of a visit that another posted and that names him."""

    SECONDED = "seconded"
    DENIED = "denied"


NAME_ANSWERS = values_of(NameReply)


class ArrivalState(StrEnum):
    """How the boiler was found."""

    FIRING = "firing"
    STANDING_BY = "standing_by"
    LOCKED_OUT = "locked_out"
    OFF = "off"
    NO_POWER = "no_power"
    UNKNOWN = "unknown"


FOUND_GIVING_HEAT = (ArrivalState.FIRING, ArrivalState.STANDING_BY)
FOUND_OFF = (ArrivalState.OFF, ArrivalState.NO_POWER, ArrivalState.LOCKED_OUT)


class LeftAs(StrEnum):
    """How the boiler was left."""

    FIRING = "firing"
    ON_CALL = "on_call"
    OFF_READY = "off_ready"
    OFF_LOCKED = "off_locked"
    ATTENDED = "attended"


LEFT_FIRING = (LeftAs.FIRING, LeftAs.ON_CALL)
LEFT_OFF = (LeftAs.OFF_READY, LeftAs.OFF_LOCKED)


# What may be on record of a boiler as a whole where it is a word: the columns of its sheet, the conditions of needs.
BOILER_CHOICES = {
    "fuel": ("natural_gas", "oil_2", "propane"),
    "construction": ("cast_iron", "firetube", "watertube"),
    "firing": ("hand", "stoker", "oil_gas"),
    "draft": ("natural", "forced", "induced"),
    "cutoffs_needed": ("1", "2"),
}

# What a person may be qualified for; whose good news a procedure takes is one or several of these.
QUALIFICATIONS = (
    "operator",
    "technician",
    "fire_side",
    "gas_train",
    "valve_shop",
    "inspector",
    "utility",
    "backflow_tester",
)

OPERATOR = "operator"  # the one that somebody of the desk may relay


class OperatorRelay(StrEnum):
    """Whose post may relay what an operator told, by the rule of the day it was posted and by who posted it."""

    ANYBODY = "anybody"  # posted before only the desk's did
    DESK = "desk"  # somebody of the desk posted it
    NOBODY = "nobody"  # somebody else did: the operator's own word is asked for
    PIN = "pin"  # a boiler-room card did, under the named operator's own PIN


SERIAL = "serial"  # the name of the value, on an entry of a paper as on a device


def normalize_serial(value: object) -> str:
    """Return a serial as two people may write it alike: without spaces, in one case of letters; '' for none."""
    return "".join(str(value).split()).casefold() if value is not None else ""
