"""The figures behind `/metrics`, read from the database each time: every worker of the web server tells the same."""

import math
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db.models import Count
from prometheus_client import Metric
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily
from prometheus_client.registry import Collector

from fleet.alerts.models import Alert
from fleet.board import queries as board
from fleet.board.models import Judged
from fleet.evidence import build_of
from fleet.heartbeats.models import Heartbeat
from fleet.heartbeats.services import PARTS, WATCHER_CALLED, read_heartbeats
from fleet.notices import outbox
from fleet.notices.models import DeliveryAttempt
from fleet.portfolio.models import Portfolio
from fleet.records.disk_room import free_bytes
from fleet.rules.values import Level

PREFIX = "gaugeglass"
NO_CHANNEL = "none"  # the person had no address in use


class SiteMetrics(Collector):
    """Collects the figures as of one instant."""

    def __init__(self, at: datetime) -> None:
        self.at = at

    def collect(self) -> Iterator[Metric]:
        """Yield every figure."""
        yield from self._heartbeat_ages()
        yield from self._boiler_counts()
        yield self._open_alerts()
        yield from self._notice_figures()
        if settings.DISK_FOLDER:
            free = free_bytes(Path(settings.DISK_FOLDER))
            yield _gauge("disk_free_bytes", "Bytes free on the disk of the data folder", free)

    def _heartbeat_ages(self) -> Iterator[Metric]:
        heartbeats = read_heartbeats()
        ages = GaugeMetricFamily(
            f"{PREFIX}_heartbeat_age_seconds",
            "Seconds since a part was last seen at work, +Inf if it never was",
            labels=["part"],
        )
        for part in PARTS:
            ages.add_metric([part], self._age_of(heartbeats.get(part)))
        yield ages
        if settings.WATCHER_URL:
            age = self._age_of(heartbeats.get(WATCHER_CALLED))
            yield _gauge("watcher_call_age_seconds", "Seconds since the outside watcher was last called", age)

    def _age_of(self, heartbeat: Heartbeat | None) -> float:
        """Return seconds. What was never seen is infinitely old, so that a rule about the age finds it."""
        return math.inf if heartbeat is None else (self.at - heartbeat.seen_at).total_seconds()

    def _boiler_counts(self) -> Iterator[Metric]:
        builds = [(p, build_of(p, self.at)) for p in Portfolio.objects.values_list("id", flat=True)]
        waiting = board.waiting_boilers(builds, self.at).count()
        yield _gauge("boilers_waiting", "Boilers that wait to be judged, those that failed among them", waiting)
        failed = Judged.objects.filter(failures__gt=0).count()
        yield _gauge("boilers_failed", "Boilers that could not be judged at the last try", failed)

    def _open_alerts(self) -> Metric:
        open_alerts = GaugeMetricFamily(f"{PREFIX}_open_alerts", "Open alerts by level", labels=["level"])
        by_level = Alert.objects.filter(until=None).order_by().values_list("level").annotate(Count("id"))
        counts = dict(by_level)
        for level in Level:
            open_alerts.add_metric([level.value], counts.get(level.value, 0))
        return open_alerts

    def _notice_figures(self) -> Iterator[Metric]:
        waiting, oldest = outbox.waiting_counts(self.at)
        age = (self.at - oldest).total_seconds() if oldest else 0.0
        yield _gauge("notices_waiting", "Notices that should have been sent by now", waiting)
        yield _gauge("oldest_notice_age_seconds", "Seconds for which the oldest of them waits, 0 if none does", age)
        attempts = CounterMetricFamily(
            f"{PREFIX}_delivery_attempts", "Attempts to hand a notice over", labels=["channel", "outcome"]
        )
        counted = DeliveryAttempt.objects.order_by().values_list("channel", "outcome").annotate(Count("id"))
        for channel, outcome, count in counted:
            attempts.add_metric([channel or NO_CHANNEL, outcome], count)
        yield attempts


def _gauge(name: str, documentation: str, value: float) -> Metric:
    return GaugeMetricFamily(f"{PREFIX}_{name}", documentation, value=value)
