"""act_on_deficiency, act_on_alert: a decision of a person is a fact and is written like every other fact."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction

from fleet.accounts.models import User
from fleet.alerts import acts as on_alerts
from fleet.alerts import services as alerts
from fleet.alerts.models import Act as AlertAct
from fleet.alerts.models import Alert
from fleet.board import queries
from fleet.board import services as board
from fleet.deficiencies import acts as on_deficiencies
from fleet.deficiencies.life import Life, by_episode, life, of_rows
from fleet.deficiencies.models import Act, Deficiency
from fleet.errors import Refused
from fleet.pipeline.conclude import Concluded, write
from fleet.pipeline.whole import lock_pulse, not_back, settle
from fleet.portfolio.locks import lock
from fleet.portfolio.models import Boiler
from fleet.portfolio.news import Cause, News


def act_on_deficiency(
    *,
    deficiency: UUID,
    decision: on_deficiencies.Decision,
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

    def facts(boilers: list[Boiler]) -> tuple[Act, str]:
        boiler = next(b for b in boilers if b.id == boiler_id)
        row = Deficiency.objects.get(id=deficiency)
        moment = _not_back(boiler_id, at)
        now = _life(row, moment)
        on_deficiencies.refuse(row=row, now=now, version=version, decision=decision, by=by, boiler=boiler, at=moment)
        act = on_deficiencies.record(
            row=row, level=now.level, decision=decision, by=by, at=moment, request_id=cause.request_id
        )
        return act, now.status

    def told(made: tuple[Act, str]) -> Mapping[UUID, Sequence[News]]:
        act, before = made
        return {act.portfolio_id: [_deficiency_news(act, before)]}

    write(boilers=[boiler_id], at=at, cause=cause, facts=facts, told=told, then=_nothing)
    return Deficiency.objects.get(id=deficiency)


def _nothing(made: object, done: list[Concluded]) -> None:
    """Store no answer: an act has none beyond the row it changed."""


def _boiler_of(found: UUID | None) -> UUID:
    if found is None:
        raise Refused("unknown", "There is no such thing.", status=404)
    return found


def _not_back(boiler: UUID, at: datetime) -> datetime:
    last = queries.judged(boiler)
    return max(at, last.judged_at) if last else at


def _life(row: Deficiency, at: datetime) -> Life:
    """Return its life with every act that is about it now. Acts about episodes merged into it count."""
    acts = on_deficiencies.of_boiler(row.boiler_id)
    episodes = of_rows(Deficiency.objects.filter(boiler=row.boiler_id))
    return life(row, by_episode(acts, episodes).get(row.id, ()), at)


def _deficiency_news(act: Act, before: str) -> News:
    row = act.deficiency
    after = _life(row, act.at).status
    sentence = f"{on_deficiencies.sentence(act)} {row.sentence}"
    return News(f"deficiency.{act.kind}", row.id, row.boiler_id, before, after, sentence, row.rule, act.at, act.reason)


def act_on_alert(
    *, alert: UUID, decision: on_alerts.Decision, version: int, by: User, at: datetime, cause: Cause | None = None
) -> Alert:
    """Record what somebody decided on this `version` of an alert and judge its boiler.

    An alert without a boiler makes the portfolio's own alerts be reconciled instead. Raises Refused: 404 for an
    unknown alert, else as `alerts.acts.refuse_decision` says.
    """
    cause = cause or Cause(who=by.get_username())
    found = Alert.kept.filter(id=alert).first()
    if found is None:
        raise Refused("unknown", "There is no such thing.", status=404)

    def facts(boilers: list[Boiler]) -> AlertAct:
        row = Alert.kept.get(id=alert)
        moment = _not_back(found.boiler_id, at) if found.boiler_id else not_back(found.portfolio_id, at)
        on_alerts.refuse(row=row, version=version, decision=decision, at=moment)
        return on_alerts.record(row=row, decision=decision, by=by, at=moment, request_id=cause.request_id)

    if found.boiler_id is None or found.condition == alerts.UNJUDGED:
        _without_judging(found, facts, cause)
    else:
        write(boilers=[found.boiler_id], at=at, cause=cause, facts=facts, told=_alert_told, then=_nothing)
    return Alert.kept.get(id=alert)


def _alert_told(act: AlertAct) -> Mapping[UUID, Sequence[News]]:
    row = act.alert
    sentence = f"{on_alerts.sentence(act)} {row.sentence}"
    after = "shelved" if act.kind == "shelved" else row.status if row.shelved_until else "acknowledged"
    news = News(
        f"alert.{act.kind}", row.id, row.boiler_id, row.status, after, sentence, row.condition, act.at, act.reason
    )
    return {row.portfolio_id: [news]}


@transaction.atomic
def _without_judging(found: Alert, facts: Callable[[list[Boiler]], AlertAct], cause: Cause) -> None:
    """Write an act where nothing is to be judged.

    An alert of a whole portfolio has no boiler. A boiler that could not be judged could not be judged now either.
    """
    boilers = lock([found.boiler_id]) if found.boiler_id else []
    lock_pulse(found.portfolio_id)
    act = facts(boilers)
    news = [*_alert_told(act)[found.portfolio_id]]
    if found.boiler_id is None:
        news += settle(portfolio=found.portfolio_id, at=act.at).news
    else:
        alerts.refresh(alert=found.id, at=act.at)
    board.stamp(portfolio=found.portfolio_id, news=news, cause=cause, at=act.at)
