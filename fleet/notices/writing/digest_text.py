"""A person's morning page: what is new, what still stands, what happens today, what stands bare soon, and one chart."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from io import BytesIO
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet
from PIL import Image, ImageDraw

from fleet.accounts import policy
from fleet.accounts.models import User
from fleet.alerts.models import Alert
from fleet.alerts.queries import alerts_of
from fleet.board.models import Change, ProofGlass, Segment
from fleet.board.queries import holds_at
from fleet.calendar import day_of, day_start
from fleet.figures.standing_counts import DayCounts, standings_per_day
from fleet.heartbeats.services import SWEEP, read_heartbeats
from fleet.jobs import states
from fleet.jobs.queries import visible_jobs
from fleet.notices.writing.call_text import CalledAlert, NoticeText, render_notice, without_day
from fleet.notices.writing.describe import describe_alerts
from fleet.notices.writing.links import page_address, stop_address
from fleet.portfolio.models import Boiler, Portfolio
from fleet.rules.values import Level, Standing
from fleet.rules.wording import ADVICE_CAUTION, local_day

MAX_LINES = 12  # in all: a morning page is read standing
BARE_SPAN = timedelta(days=30)
CHART_DAYS = 30
CHART_SIZE = (560, 120)
NOT_FIRING = (Standing.HOLD.value, Standing.EXPOSED.value)


@dataclass(frozen=True, slots=True)
class DigestLine:
    """One line, with the page it leads to. `head` is what it is about, and where."""

    head: str
    rest: str
    address: str

    @property
    def text(self) -> str:
        """The whole line."""
        return f"{self.head}: {self.rest}"


@dataclass(frozen=True, slots=True)
class DigestContent:
    """What a digest says: sections in order, each with the lines shown and how many were left off."""

    portfolio: str
    sections: Sequence[tuple[str, Sequence[DigestLine], int]]
    new_count: int
    new_holds: int
    holds: int
    worst: str
    as_of: str
    concluded: str  # when the sweep last ran, "" unknown: what time brought since then is not in it
    chart: bytes
    chart_text: str

    @property
    def is_empty(self) -> bool:
        """Whether nothing is new, nothing stands against firing and nothing happens."""
        return not any(lines for _, lines, _ in self.sections)

    def as_json(self) -> dict[str, object]:
        """Return it as programs read it."""
        sections = {name: [line.text for line in lines] for name, lines, _ in self.sections}
        return {"sections": sections, "new": self.new_count, "holds": self.holds, "as_of": self.as_of}


@dataclass(frozen=True, slots=True)
class NewsStart:
    """From where on something is new to a person: the last digest's instant, and the pulse's version it was written at.

    The version counts where there is one. An instant alone would lose what was written down behind that digest by a
    sweep that had begun before it.
    """

    at: datetime
    version: int | None = None


def gather_digest(*, portfolio: UUID, user: User, news: NewsStart, zone: str, at: datetime) -> DigestContent:
    """Return what this person's digest says: of the boilers of the portfolio that the person may see."""
    boilers = policy.boilers_for(user, "board.see", at).filter(portfolio=portfolio)
    rows = alerts_of(
        Alert.objects.filter(portfolio=portfolio, until=None), boilers, Portfolio.objects.filter(id=portfolio)
    )
    fresh = describe_alerts(list(_worst_first(rows.filter(_is_new(portfolio, news), shelved_until=None))), at)
    standing = list(_not_firing(boilers, at))
    new_boilers = {called_alert.alert.boiler_id for called_alert in fresh if called_alert.alert.boiler_id}
    until = local_day(at + BARE_SPAN, zone)
    candidates = [
        ("New", [_alert_line(called_alert) for called_alert in fresh]),
        ("Still", [_standing_line(row) for row in standing if row.boiler_id not in new_boilers]),
        ("Goes today", list(_today_lines(user, portfolio, zone, at))),
        (f"Bare before {until}", list(_bare_lines(boilers, at))),
    ]
    held_rows = [row for row in standing if row.standing == Standing.HOLD]
    counts = [sum(day.counts[name] for name in NOT_FIRING) for day in _count_days(boilers, zone, at)]
    return DigestContent(
        Portfolio.objects.get(id=portfolio).name,
        _share_out(candidates),
        new_count=len(fresh),
        new_holds=sum(called_alert.alert.condition == "hold" for called_alert in fresh),
        holds=len(held_rows),
        worst=_worst_words(fresh, held_rows),
        concluded=_last_sweep_clock(zone),
        as_of=at.astimezone(ZoneInfo(zone)).strftime("%a %d %b %Y, %H:%M"),
        chart=draw_chart(counts),
        chart_text=f"On hold or exposed, by day: {counts[0]} thirty days ago, {counts[-1]} now, at most {max(counts)}.",
    )


def _last_sweep_clock(zone: str) -> str:
    sweep = read_heartbeats().get(SWEEP)
    return sweep.seen_at.astimezone(ZoneInfo(zone)).strftime("%H:%M") if sweep else ""


def _is_new(portfolio: UUID, news: NewsStart) -> Q:
    if news.version is None:
        return Q(raised_at__gt=news.at)
    raised = Change.objects.filter(portfolio=portfolio, version__gt=news.version, kind="alert.raised")
    return Q(id__in=raised.values("subject"))


def _worst_first(rows: QuerySet[Alert]) -> Iterable[Alert]:
    ranks = {level.value: rank for rank, level in enumerate(Level)}
    listed = rows.select_related("boiler__building").order_by("raised_at", "id")
    return sorted(listed, key=lambda row: (ranks.get(row.level, len(ranks)), row.condition != "hold"))


def _not_firing(boilers: QuerySet[Boiler], at: datetime) -> QuerySet[Segment]:
    rows = Segment.objects.filter(holds_at(at), boiler__in=boilers, standing__in=NOT_FIRING)
    return rows.select_related("boiler__building").order_by("rank", "since", "boiler_id")


def _alert_line(called_alert: CalledAlert) -> DigestLine:
    act = f" {called_alert.first_act}" if called_alert.first_act else ""
    return DigestLine(
        f"{called_alert.title}, {called_alert.place}", f"{called_alert.alert.sentence}{act}", called_alert.address
    )


def _standing_line(row: Segment) -> DigestLine:
    since = f" since {local_day(row.since, row.boiler.building.zone)}" if row.since else ""
    sentence = row.reasons[0]["sentence"] if row.reasons else ""
    place = f"{row.boiler.building.address}, {row.boiler.name}"
    head = f"{row.standing.capitalize()}{since}, {place}"
    return DigestLine(head, f"{sentence} {row.then}".strip(), page_address(f"/boilers/{row.boiler_id}/"))


def _today_lines(user: User, portfolio: UUID, zone: str, at: datetime) -> Iterator[DigestLine]:
    today = day_of(at, zone)
    begin, end = day_start(today, zone), day_start(today + timedelta(days=1), zone)
    jobs = visible_jobs(user, at).filter(portfolio=portfolio, status__in=states.DATED)
    jobs = jobs.filter(planned_since__gte=begin, planned_since__lt=end)
    for job in jobs.select_related("building", "technician", "second").order_by("planned_since", "id"):
        assert job.planned_since is not None
        clock = job.planned_since.astimezone(ZoneInfo(job.building.zone)).strftime("%H:%M")
        people = " and ".join(p.display_name for p in (job.technician, job.second) if p)
        answer_note = " (asked, no answer yet)" if job.status == states.ASKED else ""
        yield DigestLine(f"{clock} {job.building.address}", f"{people}{answer_note}", page_address("/jobs/"))


def _bare_lines(boilers: QuerySet[Boiler], at: datetime) -> Iterator[DigestLine]:
    rows = ProofGlass.objects.filter(boiler__in=boilers, exposed_at__gt=at, exposed_at__lte=at + BARE_SPAN)
    for row in rows.select_related("boiler__building", "position").order_by("exposed_at", "boiler_id"):
        house = row.boiler.building
        head = f"{local_day(row.exposed_at, house.zone)}, {house.address}, {row.boiler.name}"
        yield DigestLine(head, row.position.name, page_address(f"/boilers/{row.boiler_id}/"))


def _share_out(candidates: Sequence[tuple[str, list[DigestLine]]]) -> list[tuple[str, Sequence[DigestLine], int]]:
    """Return the sections with at most `MAX_LINES` lines in all: each gets its first lines in turn."""
    shown_counts = [0] * len(candidates)
    for _ in range(MAX_LINES):
        for n, (_, lines) in enumerate(candidates):
            if shown_counts[n] < len(lines) and sum(shown_counts) < MAX_LINES:
                shown_counts[n] += 1
    return [
        (name, lines[: shown_counts[n]], len(lines) - shown_counts[n])
        for n, (name, lines) in enumerate(candidates)
        if lines
    ]


def _worst_words(fresh: Sequence[CalledAlert], held_rows: Sequence[Segment]) -> str:
    if fresh and fresh[0].alert.level == Level.HOLD:
        return f"{fresh[0].place}, {without_day(fresh[0].alert.sentence)}"
    if held_rows:
        worst = held_rows[0]
        sentence = worst.reasons[0]["sentence"] if worst.reasons else ""
        return f"{worst.boiler.building.address}, {without_day(sentence)}"
    return f"{fresh[0].place}, {without_day(fresh[0].alert.sentence)}" if fresh else ""


def _count_days(boilers: QuerySet[Boiler], zone: str, at: datetime) -> list[DayCounts]:
    last = day_of(at, zone)
    return standings_per_day(boilers, last - timedelta(days=CHART_DAYS), last)


def draw_chart(counts: Sequence[int]) -> bytes:
    """Return bars, one a day, as a PNG in ink on paper; the highest fills the picture."""
    width, height = CHART_SIZE
    image = Image.new("L", CHART_SIZE, 255)
    pen, top, step = ImageDraw.Draw(image), max(1, *counts), width / len(counts)
    for n, count in enumerate(counts):
        y = height - 2 - round((height - 12) * count / top)
        pen.rectangle((n * step + 1, y, (n + 1) * step - 2, height - 2), fill=40)
    pen.line((0, height - 1, width, height - 1), fill=0)
    packed = BytesIO()
    image.save(packed, "PNG", optimize=True)
    return packed.getvalue()


def write_digest(content: DigestContent, user: User, kind: str) -> NoticeText:
    """Return the message. `kind` is daily or weekly."""
    subject = _subject_of(content)
    stop = stop_address(user.id, "digest")
    context = {"subject": subject, "content": content, "kind": kind, "stop": stop, "caution": ADVICE_CAUTION}
    return render_notice("digest", subject, context)


def _subject_of(content: DigestContent) -> str:
    """Return the counts and the worst, in one line."""
    held_words = f"{content.holds} on hold" if content.holds else "none on hold on record"
    if content.is_empty:
        return f"{content.portfolio}: nothing new, {held_words}"
    if content.new_holds:
        counts = f"{content.new_holds} new hold{'' if content.new_holds == 1 else 's'}, {content.holds} in all"
    else:
        counts = f"{content.new_count} new, {held_words}" if content.new_count else f"Nothing new, {held_words}"
    return f"{counts}: {content.worst}" if content.worst else counts
