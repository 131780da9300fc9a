"""Figures over time: each chart answers the question in its title and has its table and a CSV download."""

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.accounts import policy
from fleet.board import figures, forecast, makeup, repairs
from fleet.board.found import Found, found_by_kind
from fleet.catalog.models import Kind
from fleet.engineering.shares import share_of
from fleet.portfolio.models import Boiler, Portfolio
from fleet.rules.values import Level, Standing
from fleet.web.figures import figures as written
from fleet.web.pages import page

DAY = timedelta(days=1)
SHORTER = (("h", timedelta(hours=1)), ("min", timedelta(minutes=1)))
HALF_A_YEAR = 26  # weeks drawn: at the start of the next season everything lapses, which would dwarf the weeks before
SOON = 12  # weeks that the answer about lapses covers
AGES = ("up to a week", "one week to a month", "one to three months", "longer")
REPAIRED = (
    "closed",
    "half within, days",
    "nine in ten within, days",
    "least, days",
    "most, days",
    "still open",
    "open for up to, days",
)
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of a row: as text, and as a value to draw (None: not known)."""

    text: str
    value: float | None


@dataclass(frozen=True, slots=True)
class Line:
    """One row of a table: its label, the same as a key for programs, and its numbers."""

    label: str
    key: str
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True)
class Chart:
    """A question, its answer in words, and the table.

    `inks` say how each column is drawn; "" means in the table only, "low" and "high" the ends of a line across the bar.
    """

    code: str
    question: str
    answer: str
    about: str  # heading of the first column: what a row is
    columns: tuple[str, ...]
    inks: tuple[str, ...]
    lines: tuple[Line, ...]
    unit: str
    nothing: str
    stacked: bool = True
    lying: bool = False
    newest_first: bool = False
    drawn: int = 0  # how many of the first rows are drawn; 0: all

    @property
    def heads(self) -> list[tuple[str, str]]:
        """Each column's title and ink."""
        return list(zip(self.columns, self.inks, strict=True))

    @property
    def empty(self) -> bool:
        """Whether there is nothing to draw."""
        return not any(f.value for line in self.lines for f in line.figures)

    @property
    def bare(self) -> bool:
        """Whether the table has values but no drawn column has one; then no chart is drawn."""
        return not any(
            f.value is not None for n in self.lines for f, ink in zip(n.figures, self.inks, strict=True) if ink
        )

    def as_csv(self) -> str:
        """Return the table as CSV: oldest first, days as ISO 8601, text that could be a formula marked as text."""
        out = io.StringIO(newline="")
        writer = csv.writer(out)
        writer.writerow([self.about.lower(), *self.columns])
        for line in reversed(self.lines) if self.newest_first else self.lines:
            key = f"'{line.key}" if line.key.startswith(_FORMULA) else line.key
            writer.writerow([key, *("" if f.value is None else f.value for f in line.figures)])
        return out.getvalue()


@dataclass(frozen=True, slots=True)
class Asked:
    """Which boilers, and the period."""

    boilers: QuerySet[Boiler]
    at: datetime
    first: date
    last: date


@page
def show(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show all charts, of every portfolio the user sees or of one."""
    seen, asked, chosen = _asked(request, at)
    charts = [make(asked) for make in CHARTS.values()]
    told = {"charts": charts, "portfolios": seen, "chosen": chosen, "as_of": at, "here": "figures"}
    return render(request, "figures.html", {**told, "first": asked.first, "last": asked.last})


@page
def download(request: HttpRequest, at: datetime, code: str) -> HttpResponse:
    """Send one chart's table as CSV."""
    _, asked, _ = _asked(request, at)
    if code not in CHARTS:
        raise Http404
    response = HttpResponse(CHARTS[code](asked).as_csv(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{code}-{asked.last}.csv"'
    return response


def _asked(request: HttpRequest, at: datetime) -> tuple[list[Portfolio], Asked, UUID | None]:
    user: Any = request.user
    boilers = policy.boilers(user, "board.see", at)
    seen = list(Portfolio.objects.filter(id__in=boilers.order_by().values("portfolio")).order_by("name"))
    text = request.GET.get("portfolio", "")
    chosen = next((p.id for p in seen if str(p.id) == text), None)
    if text and chosen is None:
        raise Http404
    last = at.date()
    first = last.replace(year=last.year - 1, day=1)  # thirteen months with the current one
    return seen, Asked(boilers.filter(portfolio=chosen) if chosen else boilers, at, first, last), chosen


def standings(asked: Asked) -> Chart:
    """Count the boilers by standing, week by week."""
    days = _weekly(figures.standings_per_day(asked.boilers, asked.first, asked.last))
    names = [s.value for s in Standing if any(d.counts[s.value] for d in days)]
    now = days[-1].counts
    told = ", ".join(f"{now[s.value]} {_word(s.value)}" for s in Standing if now[s.value])
    return _over_time(
        "standings",
        "How do the standings go over time?",
        f"Now: {told}." if told else "",
        days,
        names,
        [_word(n) for n in names],
        names,
        "boilers",
        "No boiler has been judged yet.",
    )


def lapses(asked: Asked) -> Chart:
    """Count the positions that come due or lapse in the weeks ahead."""
    weeks = forecast.by_week(asked.boilers, asked.at)
    soon = weeks[:SOON]
    told = f"In the next {SOON} weeks {sum(w.lapsed for w in soon)} lapse and {sum(w.due for w in soon)} come due."
    worst = max(weeks[HALF_A_YEAR:], key=lambda w: w.lapsed)
    if worst.lapsed:
        told += f" Half a year is drawn; later most lapse in the week of {_day(worst.monday)}: {worst.lapsed}."
    lines = tuple(Line(_day(w.monday), w.monday.isoformat(), (_whole(w.lapsed), _whole(w.due))) for w in weeks)
    return Chart(
        "lapses",
        "What lapses in the weeks ahead if nobody does anything?",
        told,
        "Week from",
        ("lapsed", "due"),
        ("exposed", "due"),
        lines,
        "positions",
        "Nothing comes due and nothing lapses within a year.",
        drawn=HALF_A_YEAR,
    )


def open_by_class(asked: Asked) -> Chart:
    """Count the open deficiencies by class, week by week."""
    days = _weekly(figures.open_by_class_per_day(asked.boilers, asked.first, asked.last))
    names = [level.value for level in Level]
    now = days[-1].counts
    told = f"Now: {', '.join(f'{now[n]} {n}' for n in names)}." if any(now.values()) else "Now: none."
    inks = ("hold", "impaired", "plain")
    question, none = "How much work is open, by class?", "No deficiency was open in these months."
    return _over_time("open-by-class", question, told, days, names, names, inks, "deficiencies", none)


def open_by_age(asked: Asked) -> Chart:
    """Count the open deficiencies by age, week by week."""
    days = _weekly(figures.age_bands_per_day(asked.boilers, asked.first, asked.last))
    oldest = figures.oldest(asked.boilers, asked.last)
    told = f"The oldest still open was opened on {_day(oldest)}." if oldest else "Now: none."
    names, inks = figures.BAND_NAMES, ("clear", "plain", "dotted", "full")
    question, none = "How much work is open, by age?", "No deficiency was open in these months."
    return _over_time("open-by-age", question, told, days, names, AGES, inks, "deficiencies", none)


def repaired(asked: Asked) -> Chart:
    """Show repair times by the worst class of each deficiency; open ones are counted apart, in none of the times."""
    found = repairs.by_class(repairs.time_to_repair(asked.boilers, asked.first, asked.last))
    waiting = repairs.still_open(asked.boilers, asked.at)
    lines = []
    for level, t in found.items():
        times = [_days(took) for took in (t.median, t.ninth_tenth, t.shortest, t.longest)]
        oldest = _days(max(waiting[level], default=None))
        lines.append(Line(level.capitalize(), level, (_whole(t.count), *times, _whole(len(waiting[level])), oldest)))
    count, left = sum(t.count for t in found.values()), sum(map(len, waiting.values()))
    return Chart(
        "repairs",
        "How long do repairs take?",
        _repaired_so(count, left, asked.first),
        "Class",
        REPAIRED,
        ("", "plain", "due", "", "", "", ""),
        tuple(lines),
        "days",
        "No deficiency was closed in these months.",
        stacked=False,
        lying=True,
    )


def _repaired_so(count: int, left: int, first: date) -> str:
    if not count:
        told = f"Nothing was closed since {_day(first)}: how long repairs take is not known yet."
        return f"{told} {left} still open." if left else told
    told = f"{count} closed since {_day(first)}, from opened to closed by its proof."
    return (
        f"{told} {left} are still open and in none of these times: what takes longest is not counted yet."
        if left
        else told
    )


def failed(asked: Asked) -> Chart:
    """Show the share of devices found failed, by kind, with its interval; highest lower bound first."""
    found = found_by_kind(asked.boilers, asked.first, asked.last)
    names = dict(Kind.objects.filter(code__in=found).values_list("code", "name"))
    shares = {kind: share_of(f.failed, f.tried) for kind, f in found.items() if f.failed}
    lines = []
    for kind in sorted(shares, key=lambda k: -shares[k].low):
        counts, share = (_whole(found[kind].failed), _whole(found[kind].tried)), shares[kind]
        bounds = (_per_cent(value) for value in (share.share, share.low, share.high))
        lines.append(Line(names.get(kind, kind), kind, (*counts, *bounds)))
    return Chart(
        "found-failed",
        "What fails when it is tested as found, by kind?",
        _failed_so(found, asked.first),
        "Kind",
        ("failed", "tried", "share, %", "from, %", "to, %"),
        ("", "", "plain", "low", "high"),
        tuple(lines),
        "% of those tried",
        "Nothing failed as found in these months.",
        lying=True,
    )


def _failed_so(found: Mapping[str, Found], first: date) -> str:
    count, tried = sum(f.failed for f in found.values()), sum(f.tried for f in found.values())
    never = [f.tried for f in found.values() if not f.failed]
    none = f" {len(never)} other kinds, tried {sum(never)} times, never failed." if never else ""
    return (
        f"{count} of {tried} tests failed before anything was done, since {_day(first)}.{none} The line across a bar "
        "is where the true share lies, nineteen times in twenty: long where few were tried."
    )


def drunk(asked: Asked) -> Chart:
    """Show the make-up water, month by month."""
    months = makeup.per_month(asked.boilers, asked.first, asked.last)
    lines = [Line(f"{m.first:%B %Y}", m.first.isoformat()[:7], _drunk(m)) for m in reversed(months)]
    known = [m for m in months if m.gallons_a_day is not None]
    told = (
        f"{known[-1].first:%B %Y}: {written(known[-1].gallons_a_day or 0.0, 3)} gal a day, each meter." if known else ""
    )
    return Chart(
        "make-up",
        "How much make-up water?",
        told,
        "Month",
        ("gal a day, each meter", "gal in all", "meters read"),
        ("plain", "", ""),
        tuple(lines),
        "gal a day",
        "No meter was read twice in these months.",
        newest_first=True,
    )


CHARTS: dict[str, Callable[[Asked], Chart]] = {
    "standings": standings,
    "lapses": lapses,
    "open-by-class": open_by_class,
    "open-by-age": open_by_age,
    "repairs": repaired,
    "found-failed": failed,
    "make-up": drunk,
}


def _over_time(
    code: str,
    question: str,
    answer: str,
    days: Sequence[figures.Day],
    names: Sequence[str],
    columns: Sequence[str],
    inks: Sequence[str],
    unit: str,
    nothing: str,
) -> Chart:
    lines = [Line(_day(d.day), d.day.isoformat(), tuple(_whole(d.counts[n]) for n in names)) for d in reversed(days)]
    told = (code, question, answer, "At the end of", tuple(columns), tuple(inks), tuple(lines), unit, nothing)
    return Chart(*told, newest_first=True)


def _weekly(days: Sequence[figures.Day]) -> list[figures.Day]:
    """Return the end of each whole week before the last day, and the last day."""
    return [d for d in days if (days[-1].day - d.day).days % 7 == 0]


def _drunk(month: makeup.Month) -> tuple[Figure, ...]:
    rate = month.gallons_a_day
    if rate is None:
        return (Figure("\u2013", None), Figure("\u2013", None), _whole(0))
    return (
        Figure(written(rate, 3), round(rate, 2)),
        Figure(written(month.gallons, 4), round(month.gallons, 1)),
        _whole(month.meters),
    )


def _whole(count: int) -> Figure:
    return Figure(str(count), count)


def _days(took: timedelta | None) -> Figure:
    """Return a time in days; less than a day is written in hours or minutes."""
    if took is None:
        return Figure("\u2013", None)
    least = [(unit, took / size) for unit, size in SHORTER if took < DAY and took >= size]
    text = f"{written(least[0][1], 2)} {least[0][0]}" if least else written(took / DAY, 3)
    return Figure(text, round(took / DAY, 2))


def _per_cent(share: float) -> Figure:
    return Figure(written(100 * share, 2), round(100 * share, 2))


def _day(day: date | None) -> str:
    return f"{day:%a %d %b %Y}" if day else ""


def _word(code: str) -> str:
    return code.replace("_", " ")
