"""Calling people of alerts that interrupt: reconciled with the alerts that are open, never fired.

A pass reads the open alerts, the call list and who was called already, and writes what is missing. So a pass that was
lost, run twice or run late changes nothing but the time.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.alerts.acts import shelvings_ended
from fleet.alerts.models import Alert
from fleet.notices.call_list.lines import DANGER, INTERRUPTING, steps_for
from fleet.notices.call_list.recipients import (
    CalledPerson,
    Reachable,
    StepTime,
    is_anybody_told,
    read_reachable,
    times_of_steps,
)
from fleet.notices.models import AlertCall, NoticeChoices
from fleet.notices.outbox import NoticeDraft, add_notice
from fleet.notices.writing.call_text import CalledAlert, write_call, write_return
from fleet.notices.writing.describe import describe_alerts
from fleet.notices.writing.links import stop_address

ACKNOWLEDGED_REST = timedelta(hours=4)  # common practice: after that an open hold is called anew
SINGLE_SPAN = timedelta(days=1)
LAST_STEP_WAIT = timedelta(minutes=15)  # after the last step, until nobody is left to tell
_CALLED_CONDITIONS = tuple(c for c in INTERRUPTING if c != DANGER)  # a danger is a hold, told from its reasons


@dataclass(frozen=True, slots=True)
class CallRound:
    """One alert that is being called: since when this round runs, and its steps with the people whom each reaches."""

    called: CalledAlert
    began_at: datetime
    steps: Sequence[StepTime]

    @property
    def interrupts(self) -> bool:
        """Whether it is one of those that get through at any hour."""
        return self.called.condition in INTERRUPTING

    def due_people(self, at: datetime) -> list[CalledPerson]:
        """Return who is to be called by now. A step that reaches nobody brings the next one forward to its time."""
        return [person for begins, people in self.step_times() if begins <= at for person in people]

    def step_times(self) -> list[StepTime]:
        """Return when each step comes and whom it reaches who was not reached before."""
        return times_of_steps(self.steps)

    def exhausted_at(self) -> datetime:
        """Return when nobody is left to tell: at once where no step reaches anybody."""
        times = self.step_times()
        return times[-1][0] + LAST_STEP_WAIT if times else self.began_at


def call_people(*, portfolio: UUID, at: datetime, alerts: Collection[UUID] | None = None) -> int:
    """Write the calls that are due by now; return how many notices. The portfolio's pulse must be locked.

    `alerts`: of these only. Nothing is written where nobody in the portfolio gave an address.
    """
    if not is_anybody_told(portfolio, at):
        return 0
    reachable = read_reachable(portfolio, at)
    rounds = read_rounds(portfolio, reachable, at, alerts)
    rounds += read_single_rounds(portfolio, reachable, at, alerts)
    made_calls = {(c.alert_id, c.user_id, c.round_at) for c in _calls_of(rounds)}
    by_message: dict[tuple[UUID, UUID | None, bool], list[tuple[CallRound, CalledPerson]]] = defaultdict(list)
    for call_round in rounds:
        for person in call_round.due_people(at):
            if (call_round.called.alert.id, person.user.id, call_round.began_at) not in made_calls:
                key = (person.user.id, call_round.called.building, call_round.interrupts)
                by_message[key].append((call_round, person))
    for calls in by_message.values():
        _write_message(portfolio, calls, at)
    return len(by_message)


def _calls_of(rounds: Iterable[CallRound]) -> Iterable[AlertCall]:
    return AlertCall.objects.filter(alert__in=[call_round.called.alert.id for call_round in rounds])


def read_rounds(
    portfolio: UUID, reachable: Reachable, at: datetime, alerts: Collection[UUID] | None = None
) -> list[CallRound]:
    """Return the rounds that run now, worst first: none for what is shelved, or acknowledged a short while ago."""
    rows = Alert.objects.filter(portfolio=portfolio, until=None, condition__in=_CALLED_CONDITIONS, shelved_until=None)
    rows = rows.filter(id__in=list(alerts)) if alerts is not None else rows
    listed = list(rows.select_related("boiler__building", "portfolio"))
    shown_again = shelvings_ended(listed, at)
    begins = {row: began for row in listed if (began := _round_start(row, shown_again.get(row.id), at))}
    rounds = [
        CallRound(called, begins[called.alert], _steps_of(called, begins[called.alert], reachable))
        for called in describe_alerts(list(begins), at)
    ]
    return sorted(rounds, key=_rank_round)


def read_single_rounds(
    portfolio: UUID, reachable: Reachable, at: datetime, alerts: Collection[UUID] | None = None
) -> list[CallRound]:
    """Return the rounds of what does not interrupt, for the people who want it singly; for all others the digest does.

    Only what was raised within a day: whoever chooses it is not told of everything that is open.
    """
    wanting = NoticeChoices.objects.filter(user__in=list(reachable.with_address), single=True).values_list(
        "user", flat=True
    )
    singles = set(wanting)
    if not singles:
        return []
    rows = Alert.objects.filter(portfolio=portfolio, until=None, raised_at__gt=at - SINGLE_SPAN, raised_at__lte=at)
    rows = rows.exclude(condition__in=_CALLED_CONDITIONS).filter(acknowledged_at=None, shelved_until=None)
    rows = rows.filter(id__in=list(alerts)) if alerts is not None else rows
    rounds = []
    for called in describe_alerts(list(rows.select_related("boiler__building", "portfolio")), at):
        began = called.alert.raised_at
        steps = [
            (began, [p for p in people if p.user.id in singles]) for _, people in _steps_of(called, began, reachable)
        ]
        rounds.append(CallRound(called, began, steps))
    return rounds


def _rank_round(call_round: CallRound) -> tuple[int, datetime]:
    return INTERRUPTING.index(call_round.called.condition), call_round.called.alert.since


def _round_start(row: Alert, shown_again_at: datetime | None, at: datetime) -> datetime | None:
    """Return when the present round of calls began; None while an acknowledgment lets it rest."""
    rest_ends_at = row.acknowledged_at + ACKNOWLEDGED_REST if row.acknowledged_at else None
    if rest_ends_at is not None and rest_ends_at > at:
        return None
    return max(filter(None, (row.raised_at, row.acts_from, rest_ends_at, shown_again_at)))


def _steps_of(called: CalledAlert, began: datetime, reachable: Reachable) -> list[StepTime]:
    steps = steps_for(reachable.lines_of(called.building), called.condition, called.alert.level)
    return reachable.people_by_time(steps, called.building, began)


def _write_message(portfolio: UUID, calls: Sequence[tuple[CallRound, CalledPerson]], at: datetime) -> None:
    """Write one notice to one person about alerts of one house, and note the calls."""
    person, rounds = calls[0][1], [call_round for call_round, _ in calls]
    first = rounds[0].called
    may_answer = first.building is not None and policy.is_allowed(
        person.user, "alert.acknowledge", portfolio=portfolio, building=first.building, at=at
    )
    notice_id = uuid4()
    text = write_call(
        notice=notice_id,
        called=[call_round.called for call_round in rounds],
        other_lines=_say_others(rounds[0], person.user, at),
        stands_in_for=person.stands_in_for,
        may_answer=may_answer,
        stop="" if rounds[0].interrupts else stop_address(person.user.id, "single"),
    )
    draft = NoticeDraft(
        portfolio,
        person.user,
        kind="call" if rounds[0].interrupts else "single",
        key=f"call {first.alert.id} {person.user.id} {rounds[0].began_at.isoformat()}",
        level=first.alert.level,
        subject=text.subject,
        text=text.text,
        html=text.html,
        data={
            "alerts": [call_round.called.as_json() for call_round in rounds],
            "channel": person.channel,
            "may_answer": may_answer,
        },
        building=first.building,
        zone=first.zone,
        interrupts=rounds[0].interrupts,
        id=notice_id,
    )
    notice = add_notice(draft, at)
    AlertCall.objects.bulk_create(
        AlertCall(
            portfolio_id=portfolio,
            alert=call_round.called.alert,
            user=person.user,
            round_at=call_round.began_at,
            at=at,
            notice=notice,
        )
        for call_round in rounds
    )


def _say_others(call_round: CallRound, person: User, at: datetime) -> list[str]:
    """Say in clock times of the house who else is told, and who will be if nobody answers."""
    told_names, sentences = [], []
    for begins, people in call_round.step_times():
        names = ", ".join(
            other_person.user.display_name for other_person in people if other_person.user.id != person.id
        )
        clock = begins.astimezone(ZoneInfo(call_round.called.zone)).strftime("%H:%M")
        if names and begins <= at:
            told_names.append(names)
        elif names:
            sentences.append(f"If nobody answers by {clock}: {names}.")
    return [*([f"Told as well: {', '.join(told_names)}."] if told_names else []), *sentences]


def tell_returns(*, portfolio: UUID, at: datetime) -> int:
    """Tell those who were called of alerts that returned to normal, or were withdrawn; return how many notices.

    The portfolio's pulse must be locked.
    """
    ended_ids = _ended_alerts(portfolio)
    open_calls = AlertCall.objects.filter(portfolio=portfolio, returned=False, alert__in=ended_ids)
    calls = list(open_calls.select_related("user")) if ended_ids else []
    alerts = Alert.with_withdrawn.filter(id__in={call.alert_id for call in calls})
    rows = {row.id: row for row in alerts.select_related("boiler__building", "portfolio")} if calls else {}
    by_person: dict[tuple[UUID, UUID | None], list[CalledAlert]] = defaultdict(list)
    users = {call.user_id: call.user for call in calls}
    described = {ended_alert.alert.id: ended_alert for ended_alert in describe_alerts(list(rows.values()), at)}
    for user, alert in sorted({(call.user_id, call.alert_id) for call in calls}, key=str):
        by_person[user, described[alert].building].append(described[alert])
    for (user, _), ended in by_person.items():
        _write_return(portfolio, users[user], ended, at)
    AlertCall.objects.filter(id__in=[call.id for call in calls]).update(returned=True)
    return len(by_person)


def _ended_alerts(portfolio: UUID) -> set[UUID]:
    called = AlertCall.objects.filter(portfolio=portfolio, returned=False).values("alert")
    rows = Alert.with_withdrawn.filter(id__in=called)
    return set((rows.exclude(until=None) | rows.filter(withdrawn=True)).values_list("id", flat=True))


def _write_return(portfolio: UUID, user: User, ended: Sequence[CalledAlert], at: datetime) -> None:
    text = write_return(ended=ended, at=at)
    ids = " ".join(sorted(f"{ended_alert.alert.id}.{ended_alert.alert.version}" for ended_alert in ended))
    draft = NoticeDraft(
        portfolio,
        user,
        kind="returned",
        key=f"returned {user.id} {uuid4()}" if len(ids) > 120 else f"returned {user.id} {ids}",
        level=ended[0].alert.level,
        subject=text.subject,
        text=text.text,
        html=text.html,
        data={"returned": [ended_alert.as_json() for ended_alert in ended]},
        building=ended[0].building,
        zone=ended[0].zone,
    )
    add_notice(draft, at)
