"""Dates with their weekday in the building's zone, codes as words, the opening of a long text."""

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import template
from django.utils.html import conditional_escape
from django.utils.safestring import SafeString, mark_safe

from fleet.assessments.sources import spelled_out
from fleet.rules.wording import on

register = template.Library()

# Where the code with its underscores taken out is not what the trade says.
WORDS = {
    "no_heat": "No-heat call",
    "cant_say": "Can't say",
    "not_done": "Not done",
    "as_found": "As found",
    "as_left": "As left",
    "cannot_be_judged": "Could not be judged",
}
UNITS = ("_psi", "_in", "_minutes", "_f", "_pct", "_s", "_ppm", "_lb_h", "_btu_h")
DATED = re.compile(r"\b((?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{2} [A-Z][a-z]{2}) (\d{4})\b")
SENTENCE = re.compile(r"(?<=[.!?])\s+")


@register.filter
def word(code: str) -> str:
    """A code in words: "laid_up_wet" is "Laid up wet"."""
    text = str(code)
    return WORDS.get(text) or text.replace("_", " ").capitalize()


@register.filter
def day(at: datetime | str | None, zone: str) -> str:
    """The day in the building's zone, as in "Tue 24 Nov 2026"; "" where there is none."""
    return on(_instant(at), zone) if at else ""


@register.filter
def moment(at: datetime | str | None, zone: str) -> str:
    """Day and time in the building's zone, as in "Tue 24 Nov 2026, 10:42 EST"."""
    return _instant(at).astimezone(ZoneInfo(zone)).strftime("%a %d %b %Y, %H:%M %Z") if at else ""


@register.simple_tag
def span(since: datetime, until: datetime, zone: str) -> str:
    """From when until when in the building's zone; the day, and the zone's letters, once where they are the same."""
    begin, end = (at.astimezone(ZoneInfo(zone)) for at in (since, until))
    told = moment(since, zone)
    if (begin.date(), begin.tzname()) != (end.date(), end.tzname()):
        return f"{told} to {moment(until, zone)}"
    return f"{told.removesuffix(f' {begin.tzname()}')} to {end:%H:%M %Z}"


@register.filter
def year_apart(text: str, year: int) -> SafeString:
    """A text whose dates of this year have the year in a span of its own: a narrow sheet tells it once, in its head."""
    return mark_safe(
        DATED.sub(
            lambda f: f'{f[1]}<span class="row-wide"> {f[2]}</span>' if int(f[2]) == year else f[0],
            conditional_escape(text),
        )
    )


def _instant(at: datetime | str) -> datetime:
    return datetime.fromisoformat(at) if isinstance(at, str) else at


@register.filter
def sentences(text: str) -> list[str]:
    """A text in its sentences, so that the first line stands first."""
    return SENTENCE.split(text.strip()) if text else []


@register.filter
def label(reading: str) -> str:
    """A reading's name without its unit, which stands behind the value."""
    unit = next((u for u in UNITS if reading.endswith(u)), "")
    return " ".join("pressure" if w == "psi" else w for w in reading.removesuffix(unit).split("_"))


@register.filter
def of(mapping: dict[Any, Any], key: Any) -> Any:
    """The value under a key, None without one."""
    return mapping.get(str(key))


@register.filter
def sourced(source: str) -> str:
    """A source with the titles of what it names by number."""
    return spelled_out(source)


@register.filter
def named(names: Mapping[Any, str], key: Any) -> str:
    """The name that something goes by; "" where it has none here."""
    return names.get(key, "")
