"""Figures over time: each chart answers the question in its title and has its table and a CSV download."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.accounts import policy
from fleet.accounts.requests import user_of
from fleet.catalog.models import Kind
from fleet.engineering.shares import share_of
from fleet.figures import forecast, makeup, repairs, standing_counts
from fleet.figures.failure_counts import FailureCounts, failure_counts_by_kind
from fleet.portfolio.models import Boiler, Portfolio
from fleet.rules.values import LEVELS, STANDINGS
from fleet.web.figures.charts import Chart, ChartLine, Figure
from fleet.web.shared.number_format import to_figures as written
from fleet.web.shared.pages import signed_in_page

DAY = timedelta(days=1)
SHORTER_UNITS = (("h", timedelta(hours=1)), ("min", timedelta(minutes=1)))
DRAWN_WEEKS = 26  # weeks drawn: at the start of the next season everything lapses, which would dwarf the weeks before
OUTLOOK = 12  # weeks that the answer about lapses covers
AGE_LABELS = ("up to a week", "one week to a month", "one to three months", "longer")
REPAIR_COLUMNS = (
    "closed",
    "half within, days",
    "nine in ten within, days",
    "least, days",
    "most, days",
    "still open",
    "open for up to, days",
)


@dataclass(frozen=True, slots=True)
class FigureScope:
    """Which boilers, and the period."""

    boilers: QuerySet[Boiler]
    at: datetime
    first: date
    last: date


@signed_in_page
def show_figures(request: HttpRequest, at: datetime) -> HttpResponse:
    """Show all charts, of every portfolio the user sees or of one."""
    portfolios, scope, portfolio_id = _read_scope(request, at)
    charts = [make_chart(scope) for make_chart in CHARTS.values()]
    context = {"charts": charts, "portfolios": portfolios, "chosen": portfolio_id, "as_of": at, "here": "figures"}
    return render(request, "figures/figures.html", {**context, "first": scope.first, "last": scope.last})


@signed_in_page
def download_table(request: HttpRequest, at: datetime, code: str) -> HttpResponse:
    """Send one chart's table as CSV."""
    _, scope, _ = _read_scope(request, at)
    if code not in CHARTS:
        raise Http404
    response = HttpResponse(CHARTS[code](scope).as_csv(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{code}-{scope.last}.csv"'
    return response


def _read_scope(request: HttpRequest, at: datetime) -> tuple[list[Portfolio], FigureScope, UUID | None]:
    user = user_of(request)
    boilers = policy.boilers_for(user, "board.see", at)
    portfolios = list(Portfolio.objects.filter(id__in=boilers.order_by().values("portfolio")).order_by("name"))
    text = request.GET.get("portfolio", "")
    portfolio_id = next((p.id for p in portfolios if str(p.id) == text), None)
    if text and portfolio_id is None:
        raise Http404
    last = at.date()
    first = last.replace(year=last.year - 1, day=1)  # thirteen months with the current one
    return (
        portfolios,
        FigureScope(boilers.filter(portfolio=portfolio_id) if portfolio_id else boilers, at, first, last),
        portfolio_id,
    )


def chart_standings(scope: FigureScope) -> Chart:
    """Count the boilers by standing, week by week."""
    days = _week_ends(standing_counts.standings_per_day(scope.boilers, scope.first, scope.last))
    names = [s for s in STANDINGS if any(d.counts[s] for d in days)]
    now = days[-1].counts
    counts_text = ", ".join(f"{now[s]} {_code_words(s)}" for s in STANDINGS if now[s])
    return _chart_over_time(
        "standings",
        "How do standings change over time?",
        answer=f"Now: {counts_text}." if counts_text else "",
        days=days,
        names=names,
        columns=[_code_words(n) for n in names],
        inks=names,
        unit="boilers",
        nothing="No boiler has been judged yet.",
    )


def chart_lapses(scope: FigureScope) -> Chart:
    """Count the positions that come due or lapse in the weeks ahead."""
    weeks = forecast.forecast_by_week(scope.boilers, scope.at)
    soon = weeks[:OUTLOOK]
    answer = f"In the next {OUTLOOK} weeks {sum(w.lapsed for w in soon)} lapse and {sum(w.due for w in soon)} come due."
    worst = max(weeks[DRAWN_WEEKS:], key=lambda w: w.lapsed)
    if worst.lapsed:
        answer += (
            f" The chart shows half a year. After that, most lapse in the week of {_day(worst.monday)}: {worst.lapsed}."
        )
    lines = tuple(
        ChartLine(_day(w.monday), w.monday.isoformat(), (_as_count(w.lapsed), _as_count(w.due))) for w in weeks
    )
    return Chart(
        "lapses",
        "What lapses in the weeks ahead if nobody does anything?",
        answer=answer,
        row_heading="Week from",
        columns=("lapsed", "due"),
        inks=("exposed", "due"),
        lines=lines,
        unit="positions",
        empty_text="Nothing comes due and nothing lapses within a year.",
        drawn_rows=DRAWN_WEEKS,
    )


def chart_open_by_class(scope: FigureScope) -> Chart:
    """Count the open deficiencies by class, week by week."""
    days = _week_ends(standing_counts.open_by_class_per_day(scope.boilers, scope.first, scope.last))
    names = LEVELS
    now = days[-1].counts
    answer = f"Now: {', '.join(f'{now[n]} {n}' for n in names)}." if any(now.values()) else "Now: none."
    inks = ("hold", "impaired", "plain")
    question, none = "How much work is open, by class?", "No deficiency was open in these months."
    return _chart_over_time(
        "open-by-class",
        question,
        answer=answer,
        days=days,
        names=names,
        columns=names,
        inks=inks,
        unit="deficiencies",
        nothing=none,
    )


def chart_open_by_age(scope: FigureScope) -> Chart:
    """Count the open deficiencies by age, week by week."""
    days = _week_ends(standing_counts.age_bands_per_day(scope.boilers, scope.first, scope.last))
    oldest = standing_counts.oldest_opening(scope.boilers, scope.last)
    answer = f"The oldest still open was opened on {_day(oldest)}." if oldest else "Now: none."
    names, inks = standing_counts.BAND_NAMES, ("clear", "plain", "dotted", "full")
    question, none = "How much work is open, by age?", "No deficiency was open in these months."
    return _chart_over_time(
        "open-by-age",
        question,
        answer=answer,
        days=days,
        names=names,
        columns=AGE_LABELS,
        inks=inks,
        unit="deficiencies",
        nothing=none,
    )


def chart_repairs(scope: FigureScope) -> Chart:
    """Show repair times by the worst class of each deficiency; open ones are counted apart, in none of the times."""
    repairs_by_level = repairs.repair_times_by_class(repairs.closed_repairs(scope.boilers, scope.first, scope.last))
    waiting = repairs.open_times_by_class(scope.boilers, scope.at)
    lines = []
    for level, t in repairs_by_level.items():
        times = [_as_days(took) for took in (t.median, t.ninth_tenth, t.shortest, t.longest)]
        oldest = _as_days(max(waiting[level], default=None))
        lines.append(
            ChartLine(level.capitalize(), level, (_as_count(t.count), *times, _as_count(len(waiting[level])), oldest))
        )
    count, open_count = sum(t.count for t in repairs_by_level.values()), sum(map(len, waiting.values()))
    return Chart(
        "repairs",
        "How long do repairs take?",
        answer=_repairs_answer(count, open_count, scope.first),
        row_heading="Class",
        columns=REPAIR_COLUMNS,
        inks=("", "plain", "due", "", "", "", ""),
        lines=tuple(lines),
        unit="days",
        empty_text="No deficiency was closed in these months.",
        stacked=False,
        horizontal=True,
    )


def _repairs_answer(count: int, open_count: int, first: date) -> str:
    if not count:
        answer = f"Nothing was closed since {_day(first)}: how long repairs take is not known yet."
        return f"{answer} {open_count} still open." if open_count else answer
    answer = f"{count} closed since {_day(first)}, from opened to closed by its proof."
    return (
        f"{answer} {open_count} are still open and in none of these times: what takes longest is not counted yet."
        if open_count
        else answer
    )


def chart_found_failed(scope: FigureScope) -> Chart:
    """Show the share of devices found failed, by kind, with its interval; highest lower bound first."""
    counts_by_kind = failure_counts_by_kind(scope.boilers, scope.first, scope.last)
    names = dict(Kind.objects.filter(code__in=counts_by_kind).values_list("code", "name"))
    shares = {kind: share_of(f.failed, f.tried) for kind, f in counts_by_kind.items() if f.failed}
    lines = []
    for kind in sorted(shares, key=lambda k: -shares[k].low):
        counts, share = (_as_count(counts_by_kind[kind].failed), _as_count(counts_by_kind[kind].tried)), shares[kind]
        bounds = (_as_percent(value) for value in (share.share, share.low, share.high))
        lines.append(ChartLine(names.get(kind, kind), kind, (*counts, *bounds)))
    return Chart(
        "found-failed",
        "What fails when it is tested as found, by kind?",
        answer=_found_failed_answer(counts_by_kind, scope.first),
        row_heading="Kind",
        columns=("failed", "tried", "share, %", "from, %", "to, %"),
        inks=("", "", "plain", "low", "high"),
        lines=tuple(lines),
        unit="% of those tried",
        empty_text="Nothing failed as found in these months.",
        horizontal=True,
    )


def _found_failed_answer(counts_by_kind: Mapping[str, FailureCounts], first: date) -> str:
    count, test_count = sum(f.failed for f in counts_by_kind.values()), sum(f.tried for f in counts_by_kind.values())
    never = [f.tried for f in counts_by_kind.values() if not f.failed]
    none = f" {len(never)} other kinds, tried {sum(never)} times, never failed." if never else ""
    return (
        f"{count} of {test_count} tests failed before anything was done, since {_day(first)}.{none} "
        "The line across a bar shows where the true share lies, 19 times in 20. It is long where few were tested."
    )


def chart_makeup(scope: FigureScope) -> Chart:
    """Show the make-up water, month by month."""
    months = makeup.makeup_per_month(scope.boilers, scope.first, scope.last)
    lines = [ChartLine(f"{m.first:%B %Y}", m.first.isoformat()[:7], _makeup_figures(m)) for m in reversed(months)]
    known_months = [m for m in months if m.gallons_a_day is not None]
    answer = (
        f"{known_months[-1].first:%B %Y}: {written(known_months[-1].gallons_a_day or 0.0, 3)} gal a day, each meter."
        if known_months
        else ""
    )
    return Chart(
        "make-up",
        "How much make-up water?",
        answer=answer,
        row_heading="Month",
        columns=("gal a day, each meter", "gal in all", "meters read"),
        inks=("plain", "", ""),
        lines=tuple(lines),
        unit="gal a day",
        empty_text="No meter was read twice in these months.",
        newest_first=True,
    )


CHARTS: dict[str, Callable[[FigureScope], Chart]] = {
    "standings": chart_standings,
    "lapses": chart_lapses,
    "open-by-class": chart_open_by_class,
    "open-by-age": chart_open_by_age,
    "repairs": chart_repairs,
    "found-failed": chart_found_failed,
    "make-up": chart_makeup,
}


def _chart_over_time(
    code: str,
    question: str,
    answer: str,
    days: Sequence[standing_counts.DayCounts],
    names: Sequence[str],
    columns: Sequence[str],
    inks: Sequence[str],
    unit: str,
    nothing: str,
) -> Chart:
    lines = [
        ChartLine(_day(d.day), d.day.isoformat(), tuple(_as_count(d.counts[n]) for n in names)) for d in reversed(days)
    ]
    chart_values = (code, question, answer, "At the end of", tuple(columns), tuple(inks), tuple(lines), unit, nothing)
    return Chart(*chart_values, newest_first=True)


def _week_ends(days: Sequence[standing_counts.DayCounts]) -> list[standing_counts.DayCounts]:
    """Return the end of each whole week before the last day, and the last day."""
    return [d for d in days if (days[-1].day - d.day).days % 7 == 0]


def _makeup_figures(month: makeup.MakeupMonth) -> tuple[Figure, ...]:
    rate = month.gallons_a_day
    if rate is None:
        return (Figure("\u2013", None), Figure("\u2013", None), _as_count(0))
    return (
        Figure(written(rate, 3), round(rate, 2)),
        Figure(written(month.gallons, 4), round(month.gallons, 1)),
        _as_count(month.meters),
    )


def _as_count(count: int) -> Figure:
    return Figure(str(count), count)


def _as_days(took: timedelta | None) -> Figure:
    """Return a time in days; less than a day is written in hours or minutes."""
    if took is None:
        return Figure("\u2013", None)
    least = [(unit, took / size) for unit, size in SHORTER_UNITS if took < DAY and took >= size]
    text = f"{written(least[0][1], 2)} {least[0][0]}" if least else written(took / DAY, 3)
    return Figure(text, round(took / DAY, 2))


def _as_percent(share: float) -> Figure:
    return Figure(written(100 * share, 2), round(100 * share, 2))


def _day(day: date | None) -> str:
    return f"{day:%a %d %b %Y}" if day else ""


def _code_words(code: str) -> str:
    return code.replace("_", " ")
