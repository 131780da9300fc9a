"""Filters for dates with their weekday in the building's zone, codes as words, and sentences of a text."""

import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from django import template
from django.urls import reverse
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString, mark_safe

from fleet.assessments.reading_names import reading_name
from fleet.assessments.sources import title_after
from fleet.catalog.citations import DOCUMENT_NUMBER, words_for_readers
from fleet.engineering.calculations import CALCULATIONS
from fleet.rules.wording import ADVICE_CAUTION, local_day
from fleet.web.shared.local_times import day_and_time

register = template.Library()

# Codes that, with spaces for underscores, are not what the trade says.
WORDS = {
    "no_heat": "No-heat call",
    "not_done": "Not done",
    "as_found": "As found",
    "as_left": "As left",
    "cannot_be_judged": "Could not be judged",
    "empty": "Nothing to say, so not sent",
}
DATE_PATTERN = re.compile(r"\b((?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{2} [A-Z][a-z]{2}) (\d{4})\b")
SENTENCE_GAP_PATTERN = re.compile(r"(?<=[.!?])\s+")


@register.filter
def word(code: str) -> str:
    """Return a code in words: "laid_up_wet" is "Laid up wet"."""
    text = str(code)
    return WORDS.get(text) or text.replace("_", " ").capitalize()


@register.filter
def day(at: datetime | str | None, zone: str) -> str:
    """Return the day in the building's zone, as in "Tue 24 Nov 2026"; "" for None."""
    return local_day(_parse_instant(at), zone) if at else ""


@register.filter
def moment(at: datetime | str | None, zone: str) -> str:
    """Return day and time in the building's zone, as in "Tue 24 Nov 2026, 10:42 EST"; "" for None."""
    return day_and_time(_parse_instant(at), zone) if at else ""


@register.filter
def clock(at: datetime | None, zone: str) -> str:
    """Return the time in the building's zone, as in "07:40"; "" for None."""
    return f"{at.astimezone(ZoneInfo(zone)):%H:%M}" if at else ""


@register.simple_tag
def advice_caution() -> str:
    """Return the one line that stands at the top of every page."""
    return ADVICE_CAUTION


@register.simple_tag
def span(since: datetime, until: datetime, zone: str) -> str:
    """Return a span in the building's zone; the day and the zone are written once if both ends share them."""
    begin, end = (at.astimezone(ZoneInfo(zone)) for at in (since, until))
    text = moment(since, zone)
    if (begin.date(), begin.tzname()) != (end.date(), end.tzname()):
        return f"{text} to {moment(until, zone)}"
    return f"{text.removesuffix(f' {begin.tzname()}')} to {end:%H:%M %Z}"


@register.filter
def year_apart(text: str, year: int) -> SafeString:
    """Wrap the year of dates in this year in a span, which narrow screens hide: the page's head shows the year once."""
    return mark_safe(
        DATE_PATTERN.sub(
            lambda f: f'{f[1]}<span class="row-wide"> {f[2]}</span>' if int(f[2]) == year else f[0],
            conditional_escape(text),
        )
    )


def _parse_instant(at: datetime | str) -> datetime:
    return datetime.fromisoformat(at) if isinstance(at, str) else at


@register.filter
def sentences(text: str) -> list[str]:
    """Split a text into its sentences."""
    return SENTENCE_GAP_PATTERN.split(text.strip()) if text else []


@register.filter
def all_of_many(items: Sequence[object]) -> str:
    """Return " all 3" for three items; "" for one."""
    return f" all {len(items)}" if len(items) > 1 else ""


@register.filter
def label(reading: str) -> str:
    """Return a reading's name without its unit, which is shown after the value."""
    return reading_name(reading)


@register.filter
def of(mapping: Mapping[object, object], key: object) -> object:
    """Return the value under a key; None without one."""
    return mapping.get(str(key))


@register.filter
def sourced(source: str) -> str:
    """Return a source with each number it cites as a link to the page of sources, its title and scope behind it."""
    parts, end, text = [], 0, words_for_readers(source)
    for match in DOCUMENT_NUMBER.finditer(text):
        parts += [conditional_escape(text[end : match.start()]), _document_link(match[0])]
        end = match.end()
    return mark_safe("".join([*parts, conditional_escape(text[end:])]))


@register.filter
def source_of_calculation(code: str) -> str:
    """Return the source of an offered calculation, each document it cites as a link."""
    return sourced(CALCULATIONS[code].source)


@register.filter
def cited_documents(source: str) -> str:
    """Return the documents that a source cites, each as a link with its title and scope; "" where it cites none."""
    numbers = dict.fromkeys(DOCUMENT_NUMBER.findall(source))
    return mark_safe("; ".join(_document_link(number) for number in numbers))


def _document_link(number: str) -> str:
    address = f"{reverse('sources')}#{number}"
    return format_html('<a href="{}">{}</a>{}', address, number, title_after(number))


@register.filter
def named(names: Mapping[object, str], key: object) -> str:
    """Return the name under a key; "" without one."""
    return names.get(key, "")
