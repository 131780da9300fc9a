"""Make-up water from meter readings, against the boiler's own past."""

from collections.abc import Iterator
from datetime import timedelta
from statistics import median

from fleet.engineering.makeup import LEAST_PAST, PAST, RUN, Reading, change, uses
from fleet.rules.finding_codes import FindingCode
from fleet.rules.ledger import Ledger, Meter, Period, Record
from fleet.rules.values import Entry, number

TIMES = 2.0  # the usual, while the past is too short for a stated chance of a false alarm (domain, section 11)
LEAST = 3  # fewer periods are no past to compare with
KEPT = 200  # periods looked back on: more than a season of weekly ones
IN_BAND_DAYS = timedelta(days=30)
RULES = (FindingCode.MAKEUP_RISING, FindingCode.MAKEUP_RISING_AGAIN)
EPOCH_DAYS = 86_400.0

Found = tuple[str, Record | None, str]


def makeup(ledger: Ledger, entry: Entry, record: Record) -> Iterator[Found]:
    """Over its own past is routine; a further rise at the next reading urgent."""
    meter = _read(ledger, entry, record) if entry.code == "meter_reading" else None
    if meter is None:
        return
    now, rising = meter.periods[-1], any(c.rule.code in RULES for c in record.open_cases())
    if now.in_band:
        _in_band(record, entry, meter.periods)
    elif not rising:
        yield FindingCode.MAKEUP_RISING, record, f"Make-up of {now.rate:.1f} gal a day: {now.told}."
    elif now.rate > meter.periods[-2].rate:
        yield FindingCode.MAKEUP_RISING_AGAIN, record, f"Make-up rose again, to {now.rate:.1f} gal a day."


def _in_band(record: Record, entry: Entry, periods: list[Period]) -> None:
    """Closed by the first reading at least 30 days after the first in band, all between in band."""
    first = entry.at
    for period in reversed(periods):
        if not period.in_band:
            break
        first = period.at
    if entry.at - first >= IN_BAND_DAYS:
        for case in record.open_cases():
            if case.rule.code in RULES:
                case.closed_at, case.closed_by = entry.at, entry.id


def _read(ledger: Ledger, entry: Entry, record: Record) -> Meter | None:
    """The meter after this reading, if that ends a period of which the use is known."""
    value = number(entry.readings.get("reading"))
    if entry.position is None or value is None:
        return None
    meter = ledger.meters.setdefault(entry.position, Meter())
    last, meter.last = meter.last, Reading(entry.at.timestamp() / EPOCH_DAYS, value, str(record.device))
    if last is None or meter.last.day <= last.day:
        return None
    used = uses([last, meter.last], record.setting("rolls_over_gal"))[0].gallons_per_day
    if used is None:
        return None
    told = _high(meter.usual, used)
    meter.periods.append(Period(entry.at, used, not told, told))
    del meter.periods[:-KEPT]
    if not told:
        meter.usual.append(used)  # what is high is no normal
        del meter.usual[: -(PAST + RUN)]
    return meter


def _high(usual: list[float], now: float) -> str:
    """Why a rate is too high for this boiler, '' where it is not or nothing can be said yet."""
    if len(usual) < LEAST:
        return ""
    if len(usual) < LEAST_PAST:
        normal = median(usual)
        return f"over twice the usual {normal:.1f}" if now > TIMES * normal else ""
    found = change([*usual, now])
    if found.says not in ("jump", "growing"):
        return ""
    return f"{found.times:.1f} times its usual {found.usual:.1f} (by luck in {found.false_alarm:.1%} of readings)"
