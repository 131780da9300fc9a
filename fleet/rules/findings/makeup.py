"""Make-up water from meter readings, against the boiler's own past."""

from collections.abc import Iterator
from datetime import timedelta
from statistics import median

from fleet.engineering.makeup import (
    GROWTH_PERIODS,
    MAX_PAST_PERIODS,
    MIN_PAST_PERIODS,
    MeterReading,
    judge_change,
    water_uses,
)
from fleet.rules.finding_codes import FindingCode
from fleet.rules.findings.found_fault import FoundFault
from fleet.rules.ledger.meters import MakeupPeriod, MeterHistory
from fleet.rules.ledger.records import PositionRecord, ReplayLedger
from fleet.rules.values import EntryFact, as_number

TIMES = 2.0  # the usual, while the past is too short for a stated chance of a false alarm (domain, section 11)
LEAST = 3  # fewer periods are no past to compare with
KEPT_PERIODS = 200  # periods looked back on: more than a season of weekly ones
IN_BAND_DAYS = timedelta(days=30)
RULES = (FindingCode.MAKEUP_RISING, FindingCode.MAKEUP_RISING_AGAIN)
EPOCH_DAYS = 86_400.0


def find_makeup_rise(ledger: ReplayLedger, entry: EntryFact, record: PositionRecord) -> Iterator[FoundFault]:
    """Yield make-up over the boiler's own past as routine, and a further rise at the next reading as urgent."""
    meter = _read_meter(ledger, entry, record) if entry.code == "meter_reading" else None
    if meter is None:
        return
    now, rising = meter.periods[-1], any(c.rule.code in RULES for c in record.open_cases())
    if now.in_band:
        _close_back_in_band(record, entry, meter.periods)
    elif not rising:
        yield FindingCode.MAKEUP_RISING, record, f"Make-up of {now.rate:.1f} gal a day: {now.rise_reason}."
    elif now.rate > meter.periods[-2].rate:
        yield FindingCode.MAKEUP_RISING_AGAIN, record, f"Make-up rose again, to {now.rate:.1f} gal a day."


def _close_back_in_band(record: PositionRecord, entry: EntryFact, periods: list[MakeupPeriod]) -> None:
    """Close what make-up opened once it is back: 30 days after the first reading in band, with all between in band."""
    first = entry.at
    for period in reversed(periods):
        if not period.in_band:
            break
        first = period.at
    if entry.at - first >= IN_BAND_DAYS:
        for case in record.open_cases():
            if case.rule.code in RULES:
                case.closed_at, case.closed_by = entry.at, entry.id


def _read_meter(ledger: ReplayLedger, entry: EntryFact, record: PositionRecord) -> MeterHistory | None:
    """Return the meter after this reading, None if the reading ends no period with a known use."""
    value = as_number(entry.readings.get("reading"))
    if entry.position is None or value is None:
        return None
    meter = ledger.meters.setdefault(entry.position, MeterHistory())
    last, meter.last = meter.last, MeterReading(entry.at.timestamp() / EPOCH_DAYS, value, str(record.device))
    if last is None or meter.last.day <= last.day:
        return None
    used = water_uses([last, meter.last], record.numeric_setting("rolls_over_gal"))[0].gallons_per_day
    if used is None:
        return None
    reason = _reason_too_high(meter.usual, used)
    meter.periods.append(MakeupPeriod(entry.at, used, reason))
    del meter.periods[:-KEPT_PERIODS]
    if reason is None:
        meter.usual.append(used)  # what is high is no normal
        del meter.usual[: -(MAX_PAST_PERIODS + GROWTH_PERIODS)]
    return meter


def _reason_too_high(usual: list[float], now: float) -> str | None:
    """Return why a rate is too high for this boiler, None if it is not or nothing can be said yet."""
    if len(usual) < LEAST:
        return None
    if len(usual) < MIN_PAST_PERIODS:
        normal = median(usual)
        return f"over twice the usual {normal:.1f}" if now > TIMES * normal else None
    makeup_change = judge_change([*usual, now])
    if makeup_change.says not in ("jump", "growing"):
        return None
    return (
        f"{makeup_change.times:.1f} times its usual {makeup_change.usual:.1f} (by luck in "
        f"{makeup_change.false_alarm:.1%} of readings)"
    )
