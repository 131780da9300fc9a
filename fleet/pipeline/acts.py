"""act_on_deficiency, act_on_alert: a decision of a person is a fact and is written like every other fact."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction

from fleet.accounts.models import User
from fleet.alerts import acts as on_alerts
from fleet.alerts import services as alerts
from fleet.alerts.models import Alert, AlertAct
from fleet.board import queries
from fleet.deficiencies import acts as on_deficiencies
from fleet.deficiencies.life import DeficiencyLife, acts_by_episode, episodes_of_rows, life_at
from fleet.deficiencies.models import Deficiency, DeficiencyAct
from fleet.errors import Refused
from fleet.pipeline.conclude import write_and_conclude
from fleet.pipeline.portfolio_conditions import clamp_to_written_alerts, lock_pulse, settle_portfolio
from fleet.pipeline.telling import record_and_tell
from fleet.portfolio.locks import lock_boilers
from fleet.portfolio.models import Boiler
from fleet.records.events import Cause, ChangeEvent


def act_on_deficiency(
    *,
    deficiency: UUID,
    decision: on_deficiencies.DeficiencyDecision,
    version: int,
    by: User,
    at: datetime,
    cause: Cause | None = None,
) -> Deficiency:
    """Record what somebody decided on this `version` of a deficiency and judge its boiler.

    Raises Refused: 404 for an unknown deficiency, else as `deficiencies.acts.refuse_decision` says.
    """
    cause = cause or Cause(who=by.get_username())
    boiler_id = _boiler_of(Deficiency.objects.filter(id=deficiency).values_list("boiler", flat=True).first())

    def write_facts(boilers: list[Boiler]) -> tuple[DeficiencyAct, str]:
        boiler = next(b for b in boilers if b.id == boiler_id)
        row = Deficiency.objects.get(id=deficiency)
        moment = _clamp_to_judged_at(boiler_id, at)
        current_life = _current_life(row, moment)
        on_deficiencies.refuse_decision(
            row=row, now=current_life, version=version, decision=decision, by=by, boiler=boiler, at=moment
        )
        act = on_deficiencies.record_act(
            row=row, level=current_life.level, decision=decision, by=by, at=moment, request_id=cause.request_id
        )
        return act, current_life.status

    def describe_events(act_and_status: tuple[DeficiencyAct, str]) -> Mapping[UUID, Sequence[ChangeEvent]]:
        act, before = act_and_status
        return {act.portfolio_id: [_deficiency_event(act, before)]}

    write_and_conclude(
        boilers=[boiler_id],
        at=at,
        cause=cause,
        write_facts=write_facts,
        describe_events=describe_events,
    )
    return Deficiency.objects.get(id=deficiency)


def _boiler_of(boiler_id: UUID | None) -> UUID:
    if boiler_id is None:
        raise Refused("unknown", "Not found.", status=404)
    return boiler_id


def _clamp_to_judged_at(boiler: UUID, at: datetime) -> datetime:
    last = queries.last_judgement(boiler)
    return max(at, last.judged_at) if last else at


def _current_life(row: Deficiency, at: datetime) -> DeficiencyLife:
    """Return its life with every act that is about it now. Acts about episodes merged into it count."""
    acts = on_deficiencies.acts_of_boiler(row.boiler_id)
    episodes = episodes_of_rows(Deficiency.objects.filter(boiler=row.boiler_id))
    return life_at(row, acts_by_episode(acts, episodes).get(row.id, ()), at)


def _deficiency_event(act: DeficiencyAct, before: str) -> ChangeEvent:
    row = act.deficiency
    after = _current_life(row, act.at).status
    sentence = f"{on_deficiencies.act_sentence(act)} {row.sentence}"
    return ChangeEvent(
        f"deficiency.{act.kind}",
        row.id,
        boiler=row.boiler_id,
        before=before,
        after=after,
        sentence=sentence,
        rule=row.rule,
        at=act.at,
        reason=act.reason,
    )


def act_on_alert(
    *, alert: UUID, decision: on_alerts.AlertDecision, version: int, by: User, at: datetime, cause: Cause | None = None
) -> Alert:
    """Record what somebody decided on this `version` of an alert and judge its boiler.

    An alert without a boiler makes the portfolio's own alerts be reconciled instead. Raises Refused: 404 for an
    unknown alert, else as `alerts.acts.refuse_decision` says.
    """
    cause = cause or Cause(who=by.get_username())
    alert_row = Alert.with_withdrawn.filter(id=alert).first()
    if alert_row is None:
        raise Refused("unknown", "Not found.", status=404)

    def write_facts(boilers: list[Boiler]) -> AlertAct:
        row = Alert.with_withdrawn.get(id=alert)
        moment = (
            _clamp_to_judged_at(alert_row.boiler_id, at)
            if alert_row.boiler_id
            else clamp_to_written_alerts(alert_row.portfolio_id, at)
        )
        on_alerts.refuse_decision(row=row, version=version, decision=decision, at=moment)
        return on_alerts.record_act(row=row, decision=decision, by=by, at=moment, request_id=cause.request_id)

    if alert_row.boiler_id is None or alert_row.condition == alerts.UNJUDGED:
        _act_without_judging(alert_row, write_facts, cause)
    else:
        write_and_conclude(
            boilers=[alert_row.boiler_id],
            at=at,
            cause=cause,
            write_facts=write_facts,
            describe_events=_alert_events,
        )
    return Alert.with_withdrawn.get(id=alert)


def _alert_events(act: AlertAct) -> Mapping[UUID, Sequence[ChangeEvent]]:
    row = act.alert
    sentence = f"{on_alerts.act_sentence(act)} {row.sentence}"
    after = "shelved" if act.kind == "shelved" else row.status if row.shelved_until else "acknowledged"
    event = ChangeEvent(
        f"alert.{act.kind}",
        row.id,
        boiler=row.boiler_id,
        before=row.status,
        after=after,
        sentence=sentence,
        rule=row.condition,
        at=act.at,
        reason=act.reason,
    )
    return {row.portfolio_id: [event]}


@transaction.atomic
def _act_without_judging(alert: Alert, write_facts: Callable[[list[Boiler]], AlertAct], cause: Cause) -> None:
    """Write an act where nothing is to be judged.

    An alert of a whole portfolio has no boiler. A boiler that could not be judged could not be judged now either.
    """
    boilers = lock_boilers([alert.boiler_id]) if alert.boiler_id else []
    lock_pulse(alert.portfolio_id)
    act = write_facts(boilers)
    events = [*_alert_events(act)[alert.portfolio_id]]
    if alert.condition in alerts.PORTFOLIO_CONDITIONS:
        events += settle_portfolio(portfolio=alert.portfolio_id, at=act.at).events
    else:  # of a building, a job or messages: nothing else would make the alert follow its acts at once
        alerts.refresh_alert(alert=alert.id, at=act.at)
    record_and_tell(portfolio=alert.portfolio_id, events=events, cause=cause, at=act.at)
