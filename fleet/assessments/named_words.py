"""What is said of the people whom another's post names: whose word is missing, what it counts as, who denied it."""

from collections.abc import Iterable, Iterator
from datetime import datetime

from fleet.accounts.people import names_in_sentence
from fleet.assessments.models import Waiting
from fleet.cards.queries import card_posts_of
from fleet.rules.vocabulary import OPERATOR, NameReply, OperatorRelay
from fleet.rules.wording import local_day
from fleet.visits.models import Attendance, NameAnswer, Visit
from fleet.visits.named_people import people_by_visit


def worth_in_words(counts_as: Iterable[str]) -> str:
    """Return what a visit with these qualifications behind it is worth. Bad news counts with any."""
    more = sorted(code.replace("_", " ") for code in counts_as if code != OPERATOR)
    if more:
        return f"It counts with what those behind it may prove ({', '.join(more)})."
    if OPERATOR in counts_as:
        return "It counts as an operator's: it may renew operator proofs, and closes nothing above routine."
    return "Nothing good of it counts: it renews and closes nothing."


def waiting_sentence(visit: Visit, waiting: Waiting) -> str:
    """Return whose word a visit waits for, and what it counts as until then; "" where nobody's is missing."""
    asked_people = [p.user for p in visit.people.all() if p.user and str(p.user_id) in waiting.people]
    if not asked_people:
        return ""
    names, have = names_in_sentence(asked_people), "have" if len(asked_people) > 1 else "has"
    poster = visit.posted_by.display_name if visit.posted_by else "somebody else"
    worth = worth_in_words(waiting.counts_as)
    return f"Posted by {poster}, it names {names}, who {have} not seconded it. {worth} Bad news of it counts at once."


def naming_notes(visit: Visit) -> Iterator[str]:
    """Yield all that is to be said of who is named at a visit that another posted."""
    if visit.posted_by_id is None and card_posts_of([visit.id]):
        yield _card_sentence(visit)
    names_others = any(p.user_id and p.user_id != visit.posted_by_id for p in visit.people.all())
    if not (visit.names_need_second and names_others):
        return
    waiting = getattr(visit, "waiting", None)
    if waiting is not None and (sentence := waiting_sentence(visit, waiting)):
        yield sentence
    yield from reply_sentences(visit)


def _card_sentence(visit: Visit) -> str:
    """Return what stands behind a visit that came by a boiler-room card."""
    if visit.operator_relay == OperatorRelay.PIN:
        names = names_in_sentence(p.user for p in visit.people.all() if p.user)
        return f"Logged on the boiler-room card under the PIN of {names}. Good news of it counts as an operator's only."
    return "Logged on the boiler-room card, with no account and no PIN behind it. Only bad news of it counts."


def reply_sentences(visit: Visit) -> Iterator[str]:
    """Yield what those named said of it, the first first."""
    replies = list(visit.name_answers.select_related("by").order_by("at", "id"))
    zone = visit.boiler.building.zone
    for reply in replies:
        yield _reply_sentence(reply, local_day(reply.at, zone))
    if any(r.answer == NameReply.DENIED for r in replies):
        yield worth_in_words(_counts_as(visit, visit.performed_at))


def _reply_sentence(reply: NameAnswer, day: str) -> str:
    if reply.answer == NameReply.SECONDED:
        return f"{reply.by.display_name} seconded it on {day}."
    said = f"{reply.by.display_name} denied it on {day}: nothing good of it rests on that name."
    return f"{said} The reason given: {reply.reason}" if reply.reason else said


def _counts_as(visit: Visit, at: datetime) -> set[str]:
    people = people_by_visit(Attendance.objects.filter(visit=visit)).get(visit.id, [])
    return {code for person in people for code in person.counting_codes_at(at)}
