"""What a person reads who is called of alerts, or told that they returned to normal."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID
from zoneinfo import ZoneInfo

from django.template.loader import render_to_string

from fleet.alerts.models import Alert
from fleet.notices.writing.links import answer_address, page_address
from fleet.rules.wording import ADVICE_CAUTION

DAY_BEHIND = re.compile(r" \(\w{3} \d\d \w{3} \d{4}\)$")
TITLES = {
    "danger": "People are in danger",
    "hold": "Hold",
    "hold_but_firing": "On hold, but firing",
    "building_without_heat": "Without heat",
}


@dataclass(frozen=True, slots=True)
class CalledAlert:
    """One alert as it is told: what kind of call it is, its place, and what to do first."""

    alert: Alert
    condition: str  # of the call list: a hold that endangers people is a danger
    place: str
    zone: str
    building: UUID | None
    first_act: str = ""

    @property
    def title(self) -> str:
        """Its heading."""
        return TITLES.get(self.condition, self.alert.condition.replace("_", " ").capitalize())

    @property
    def act_now(self) -> str:
        """The first sentence of what to do first."""
        return self.first_act.split(". ")[0].rstrip(".") + "." if self.first_act else ""

    @property
    def act_then(self) -> str:
        """The rest of it."""
        return self.first_act.partition(". ")[2]

    @property
    def since(self) -> str:
        """When it began, in the building's time."""
        return self.alert.since.astimezone(ZoneInfo(self.zone)).strftime("%a %d %b %H:%M")

    @property
    def address(self) -> str:
        """The page about it."""
        if self.alert.boiler_id:
            return page_address(f"/boilers/{self.alert.boiler_id}/")
        is_of_building = self.building is not None and self.alert.subject == self.building
        return page_address(f"/buildings/{self.building}/" if is_of_building else "/alerts/")

    def as_json(self) -> dict[str, object]:
        """Return it as programs read it."""
        return {
            "alert": str(self.alert.id),
            "condition": self.alert.condition,
            "level": self.alert.level,
            "boiler": str(self.alert.boiler_id) if self.alert.boiler_id else None,
            "building": str(self.building) if self.building else None,
            "place": self.place,
            "since": self.alert.since.isoformat(),
            "sentence": self.alert.sentence,
            "first_act": self.first_act,
            "address": self.address,
        }


def without_day(sentence: str) -> str:
    """Return a sentence without the day in brackets behind it: a subject is short, and the message says since when."""
    return DAY_BEHIND.sub("", sentence)


@dataclass(frozen=True, slots=True)
class NoticeText:
    """One message, as text and as HTML."""

    subject: str
    text: str
    html: str


def write_call(
    *,
    notice: UUID,
    called: Sequence[CalledAlert],
    other_lines: Sequence[str],
    stands_in_for: str,
    may_answer: bool,
    stop: str = "",
) -> NoticeText:
    """Return the message that calls a person of these alerts of one house, the worst first.

    `other_lines` say in clock times who else is told. `may_answer`: the person may acknowledge, so there is a link.
    `stop` ends messages of this kind, where they can be ended.
    """
    first = called[0]
    more = f" and {len(called) - 1} more" if len(called) > 1 else ""
    subject = f"{first.title}: {first.place}{more}: {without_day(first.alert.sentence)}"
    context = {
        "subject": subject,
        "called": called,
        "others": other_lines,
        "stands_in_for": stands_in_for,
        "answer": answer_address(notice) if may_answer else "",
        "stop": stop,
        "caution": ADVICE_CAUTION,
    }
    return render_notice("call", subject, context)


def write_return(*, ended: Sequence[CalledAlert], at: datetime) -> NoticeText:
    """Return the message that alerts of which a person was called returned to normal, or were withdrawn."""
    first = ended[0]
    more = f" and {len(ended) - 1} more" if len(ended) > 1 else ""
    word = "Withdrawn by a correction" if first.alert.withdrawn else "No longer raised"
    subject = f"{word}: {first.title.lower()} at {first.place}{more}"
    return render_notice("returned", subject, {"subject": subject, "ended": ended, "caution": ADVICE_CAUTION})


def render_notice(name: str, subject: str, context: Mapping[str, object]) -> NoticeText:
    """Return a message from its two templates, `mail/NAME.txt` and `.html`; empty lines are single."""
    text = render_to_string(f"mail/{name}.txt", dict(context))
    lines = [line.rstrip() for line in text.splitlines()]
    plain = "\n".join(line for n, line in enumerate(lines) if line or (n and lines[n - 1])).strip() + "\n"
    return NoticeText(subject, plain, render_to_string(f"mail/{name}.html", dict(context)))
