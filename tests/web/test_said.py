"""How pages say codes, dates and long texts."""

from datetime import UTC, datetime, timedelta

import pytest

from fleet.web.templatetags import said

EVENING = datetime(2026, 11, 25, 3, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("code", "words"),
    [("not_surveyed", "Not surveyed"), ("no_heat", "No-heat call"), ("not_examined", "Not examined"), ("hold", "Hold")],
)
def test_a_code_is_said_in_words(code: str, words: str) -> None:
    assert said.word(code) == words


def test_a_day_has_its_weekday_and_is_the_zones_own() -> None:
    assert said.day(EVENING, "America/New_York") == "Tue 24 Nov 2026"


def test_a_day_read_back_from_a_conclusion_is_the_same() -> None:
    assert said.day(EVENING.isoformat(), "America/New_York") == said.day(EVENING, "America/New_York")


def test_a_moment_names_its_zone() -> None:
    assert said.moment(EVENING, "America/New_York") == "Tue 24 Nov 2026, 22:30 EST"


@pytest.mark.parametrize(
    ("since", "hours", "told"),
    [
        (EVENING, 1, "Tue 24 Nov 2026, 22:30 to 23:30 EST"),
        (EVENING, 2, "Tue 24 Nov 2026, 22:30 EST to Wed 25 Nov 2026, 00:30 EST"),  # past midnight there
        (datetime(2026, 11, 1, 5, tzinfo=UTC), 3, "Sun 01 Nov 2026, 01:00 EDT to Sun 01 Nov 2026, 03:00 EST"),
    ],
)
def test_a_span_names_its_day_and_its_zone_once_where_they_are_the_same(since: datetime, hours: int, told: str) -> None:
    assert said.span(since, since + timedelta(hours=hours), "America/New_York") == told


def test_where_there_is_no_date_nothing_is_said() -> None:
    assert (said.day(None, "UTC"), said.moment(None, "UTC")) == ("", "")


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("Switch it off. Then look.", ["Switch it off.", "Then look."]),
        ("It tripped at 7.9 psi. Good.", ["It tripped at 7.9 psi.", "Good."]),
        ("", []),
    ],
)
def test_a_text_falls_into_its_sentences(text: str, lines: list[str]) -> None:
    assert said.sentences(text) == lines


@pytest.mark.parametrize(
    ("name", "words"),
    [("trip_psi", "trip"), ("psi_when_checked", "pressure when checked"), ("stayed_off_minutes", "stayed off")],
)
def test_a_readings_unit_stands_behind_its_value_and_not_in_its_name(name: str, words: str) -> None:
    assert said.label(name) == words


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("Due since Tue 24 Nov 2026.", 'Due since Tue 24 Nov<span class="row-wide"> 2026</span>.'),
        ("Last passed Fri 25 Jul 2025.", "Last passed Fri 25 Jul 2025."),  # another year stays with its day
        ("Valve <b> 2026, plate 24 Nov 2026", "Valve &lt;b&gt; 2026, plate 24 Nov 2026"),  # no day of ours
    ],
)
def test_only_this_years_dates_have_their_year_apart(text: str, told: str) -> None:
    assert said.year_apart(text, 2026) == told
