"""Make-up water from meter readings, against the boiler's own past (domain, section 11)."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from statistics import median

from fleet.rules.ledger import Ledger, Meter, Record
from fleet.rules.values import Entry

PERIODS, TIMES = 12, 2.0
KEPT = 200  # periods looked back on: more than a season of weekly ones
LEAST = 3  # fewer periods are no past to compare with
IN_BAND_DAYS = timedelta(days=30)

Found = tuple[str, Record | None, str]
Rate = tuple[datetime, float]


def makeup(ledger: Ledger, entry: Entry, record: Record) -> Iterator[Found]:
    """Over twice the median of the last twelve periods is routine; a further rise at the next reading urgent."""
    if entry.code != "meter_reading":
        return
    rates = _rates(ledger, entry)
    if len(rates) <= LEAST:
        return
    *before, (_, now) = rates
    normal = median(rate for _, rate in before[-PERIODS:])
    rising = [c for c in record.open_cases() if c.rule.code in ("makeup_rising", "makeup_rising_again")]
    if now > TIMES * normal and not rising:
        yield "makeup_rising", record, f"Make-up of {now:.1f} gal a day, over twice the usual {normal:.1f}."
    elif rising and now <= TIMES * normal:
        _in_band(record, entry, rates, TIMES * normal)
    elif rising and now > before[-1][1]:
        yield "makeup_rising_again", record, f"Make-up rose again, to {now:.1f} gal a day."


def _in_band(record: Record, entry: Entry, rates: list[Rate], limit: float) -> None:
    """Closed by the first reading at least 30 days after the first in band, all between in band."""
    band: list[datetime] = []
    for at, rate in reversed(rates):
        if rate > limit:
            break
        band.append(at)
    if band and entry.at - band[-1] >= IN_BAND_DAYS:
        for case in record.open_cases():
            if case.rule.code in ("makeup_rising", "makeup_rising_again"):
                case.closed_at, case.closed_by = entry.at, entry.id


def _rates(ledger: Ledger, entry: Entry) -> list[Rate]:
    """Gallons a day between readings; a meter that went back was replaced or rolled over: that period is left out."""
    value = entry.readings.get("reading")
    if entry.position is None or not isinstance(value, (int, float)) or isinstance(value, bool):
        return []
    meter, now = ledger.meters.setdefault(entry.position, Meter()), (entry.at, float(value))
    last, meter.last = meter.last, now
    days = (now[0] - last[0]) / timedelta(days=1) if last else 0.0
    if last and days > 0 and now[1] >= last[1]:
        meter.rates.append((now[0], (now[1] - last[1]) / days))
        del meter.rates[:-KEPT]
    return meter.rates
