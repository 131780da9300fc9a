"""The statuses of a job and what may follow each: one table, used by decisions and by the replay of a job.

What people do: plan, accept, join (the second person's yes), decline, start, withdraw (the desk takes the plan back),
cancel. A plan for somebody of another portfolio is recorded as ask: the job stands as asked until that person answers.
What happens by itself: its planned day passes (`day_passed`), a visit leaves something open (`visit_left_open`),
evidence settles all its items (`all_settled`), a visit answers all its calls, which proves nothing (`all_answered`), or
a correction takes the cause of all of them away (`all_withdrawn`).
"""

TO_PLAN, ASKED, PLANNED, ACCEPTED, STARTED = "to_plan", "asked", "planned", "accepted", "started"
DECLINED, MISSED, BACK = "declined", "missed", "back"
PROVEN, ANSWERED, NOT_NEEDED, CANCELLED = "proven", "answered", "not_needed", "cancelled"

_SETTLES = {"all_settled": PROVEN, "all_answered": ANSWERED, "all_withdrawn": NOT_NEEDED}
_PLANNABLE = {"plan": PLANNED, "ask": ASKED, "cancel": CANCELLED, **_SETTLES}

TRANSITIONS: dict[str, dict[str, str]] = {
    TO_PLAN: _PLANNABLE,
    ASKED: {**_PLANNABLE, "withdraw": TO_PLAN, "accept": ACCEPTED, "decline": DECLINED, "day_passed": MISSED},
    PLANNED: {
        **_PLANNABLE,
        "withdraw": TO_PLAN,
        "accept": ACCEPTED,
        "join": PLANNED,
        "decline": DECLINED,
        "day_passed": MISSED,
    },
    ACCEPTED: {
        **_PLANNABLE,
        "withdraw": TO_PLAN,
        "join": ACCEPTED,
        "decline": DECLINED,
        "start": STARTED,
        "day_passed": MISSED,
    },
    STARTED: {"visit_left_open": BACK, "day_passed": MISSED, **_SETTLES},
    DECLINED: _PLANNABLE,
    MISSED: _PLANNABLE,
    BACK: _PLANNABLE,
    PROVEN: {},
    ANSWERED: {},
    NOT_NEEDED: {},
    CANCELLED: {},
}

STATUSES = tuple(TRANSITIONS)
WAITING = frozenset({TO_PLAN, DECLINED, MISSED, BACK})  # for the dispatcher: not planned, or to be planned again
HELD_STATUSES = frozenset({PLANNED, ACCEPTED, STARTED})  # a technician has it: nobody can be in two places for these
DATED = HELD_STATUSES | {ASKED}  # has a planned day, which may pass
OVER = frozenset({PROVEN, ANSWERED, NOT_NEEDED, CANCELLED})
OFF_CALENDAR = frozenset({TO_PLAN, ASKED, DECLINED, CANCELLED, NOT_NEEDED, MISSED})  # shown as cancelled in calendars

ACTS = ("created", "plan", "ask", "accept", "join", "decline", "start", "withdraw", "cancel")


def status_after(status: str, act_kind: str) -> str | None:
    """Return the status that follows `status` when `what` happens; None where it may not, or changes nothing."""
    return TRANSITIONS[status].get(act_kind)
