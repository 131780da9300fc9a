"""reply_to_naming: somebody whom another's visit names seconds or denies it. A second may also be a correction's."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import datetime
from uuid import UUID

from fleet.accounts.models import User
from fleet.assessments.queries import waiting_corrections
from fleet.errors import Refused
from fleet.pipeline.conclude import BoilerConclusion, write_and_conclude
from fleet.portfolio.models import Boiler
from fleet.records.events import Cause, ChangeEvent
from fleet.rules.vocabulary import NameReply
from fleet.visits.models import NameAnswer, Visit
from fleet.visits.named_people import asks_others, is_asked, refuse_reply

OWN_NAME, SECOND_NAME = "own_name", "second_name"  # as what somebody seconds a visit


def capacity_to_second(visit: Visit, by: User) -> str:
    """Return as what somebody seconds this visit where he does not say: one who is named and asked, for himself.

    Whoever is named at a correction has two things to say of it, and says each by itself.
    """
    is_plain = visit.corrects_id is None
    return OWN_NAME if is_asked(visit, by) or (is_plain and asks_others(visit)) else SECOND_NAME


def reply_to_naming(
    *, visit: UUID, by: User, reply: NameReply, at: datetime, reason: str = "", cause: Cause | None = None
) -> NameAnswer:
    """Store that somebody named at a visit seconds or denies it, once, and judge its boiler again.

    It speaks of this visit alone, as it was posted: a correction of it that waits is not seconded with it.

    Raises Refused where there is no such visit, nobody is asked, it is one's own or corrected, it does not name the
    person or he was not qualified on its day, he has answered, or his word would let a correction count that waits.
    """
    named_visit = Visit.objects.filter(id=visit).select_related("paper").first()
    if named_visit is None:
        raise Refused("unknown_visit", "Visit not found.", status=404)
    corrections: set[UUID] = set()  # those that wait while he answers

    def write_facts(boilers: list[Boiler]) -> NameAnswer:
        corrections.update(waiting_corrections(named_visit.boiler_id))
        refuse_reply(named_visit, by, reply, corrections)
        return NameAnswer.objects.create(
            portfolio_id=named_visit.portfolio_id, visit=named_visit, by=by, at=at, answer=reply, reason=reason
        )

    def describe_events(answer: NameAnswer) -> Mapping[UUID, Sequence[ChangeEvent]]:
        return {named_visit.portfolio_id: [_reply_event(named_visit, by, reply=reply, at=at, reason=reason)]}

    def refuse_release(_: NameAnswer, conclusions: Sequence[BoilerConclusion]) -> None:
        _refuse_released_correction(named_visit, corrections, conclusions)

    return write_and_conclude(
        boilers=[named_visit.boiler_id],
        at=at,
        cause=cause or Cause(who=by.get_username()),
        write_facts=write_facts,
        describe_events=describe_events,
        after_judging=refuse_release,
    )


def _refuse_released_correction(
    visit: Visit, waited: Collection[UUID], conclusions: Iterable[BoilerConclusion]
) -> None:
    """Raise Refused where a correction of the visit waited before the word and counts by it."""
    still_waiting = {correction for conclusion in conclusions for correction in conclusion.judgement.waiting}
    released = Visit.objects.filter(corrects=visit, id__in=set(waited) - still_waiting).first()
    if released is not None:
        message = (
            f"With your word the hold would end, and visit {released.id}, which corrects this one, would count without "
            "a second name. Have that correction seconded, or corrected, first."
        )
        raise Refused("would_let_correction_count", message, status=409)


def _reply_event(visit: Visit, by: User, *, reply: NameReply, at: datetime, reason: str) -> ChangeEvent:
    act_in_words = (
        "seconded the visit that names them" if reply is NameReply.SECONDED else "denied the visit that names them"
    )
    return ChangeEvent(
        f"visit.{reply}",
        visit.id,
        boiler=visit.boiler_id,
        before="",
        after=reply,
        sentence=f"{by.get_username()} {act_in_words}.",
        rule="",
        at=at,
        reason=reason,
    )
