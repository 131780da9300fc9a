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
    meter = _read(ledger, entry)
    if meter is None:
        return
    now, usual = meter.rates[-1][1], median(meter.usual[-PERIODS:]) if len(meter.usual) >= LEAST else None
    if usual is None or now <= TIMES * usual:
        meter.usual.append(now)
        del meter.usual[:-PERIODS]
    rising = [c for c in record.open_cases() if c.rule.code in ("makeup_rising", "makeup_rising_again")]
    if usual is None:
        return
    if now > TIMES * usual and not rising:
        yield "makeup_rising", record, f"Make-up of {now:.1f} gal a day, over twice the usual {usual:.1f}."
    elif rising and now <= TIMES * usual:
        _in_band(record, entry, meter.rates, TIMES * usual)
    elif rising and now > meter.rates[-2][1]:
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


def _read(ledger: Ledger, entry: Entry) -> Meter | None:
    """The meter after this reading, if that ends a period; one that went back was replaced or rolled over: no period.

    Gallons a day between readings.
    """
    value = entry.readings.get("reading")
    if entry.position is None or not isinstance(value, (int, float)) or isinstance(value, bool):
        return None
    meter, now = ledger.meters.setdefault(entry.position, Meter()), (entry.at, float(value))
    last, meter.last = meter.last, now
    days = (now[0] - last[0]) / timedelta(days=1) if last else 0.0
    if last is None or days <= 0 or now[1] < last[1]:
        return None
    meter.rates.append((now[0], (now[1] - last[1]) / days))
    del meter.rates[:-KEPT]
    return meter
