"""Streets of synthetic boilers: rows put straight into the tables, to look at pages of thousands and to time them."""

import random
from datetime import datetime, timedelta

from fleet.accounts.models import User
from fleet.board.models import Judged, ProofGlass, Segment
from fleet.portfolio.models import Boiler, Building, Portfolio, Position
from fleet.rules import VERSION
from fleet.rules.values import Standing
from tests.cast import LONG_AGO, make_person

NAMES = ("Orchard", "Mill", "Harbour", "Chapel", "Foundry", "Meadow", "Castle", "Tannery", "Bridge", "Weir")
# Of a hundred boilers so many stand there: most are clear, as in a portfolio that is looked after.
SHARES = (("hold", 2), ("exposed", 3), ("impaired", 4), ("due", 16), ("clear", 65), ("not_surveyed", 5), ("off", 5))
OF_HUNDRED = [standing for standing, share in SHARES for _ in range(share)]


def make_street(count: int, at: datetime) -> User:
    """So many boilers, up to four in a building, each with its standing and, where surveyed, its glass; the manager."""
    chance, portfolio = random.Random(count), Portfolio.objects.create(ref="STREETS", name="Long Streets")
    more = {"portfolio": portfolio}
    sizes = [chance.choice((1, 1, 2, 2, 3, 4)) for _ in range(count)]
    houses = [_house(n, **more) for n in range(count)]
    boilers = [Boiler(building=h, ref=f"B{i + 1}", name=f"Boiler {i + 1}", since=LONG_AGO, **more)
               for h, size in zip(houses, sizes, strict=True) for i in range(size)][:count]  # fmt: skip
    used = {boiler.building_id for boiler in boilers}
    Building.objects.bulk_create([h for h in houses if h.id in used], batch_size=2000)
    Boiler.objects.bulk_create(boilers, batch_size=2000)
    places = [Position(boiler=b, ref="lower", name="lower cutoff", role_id="lower_cutoff", **more) for b in boilers]
    Position.objects.bulk_create(places, batch_size=2000)
    told = [chance.choice(OF_HUNDRED) for _ in boilers]
    segments = [_segment(b, standing, at, **more) for b, standing in zip(boilers, told, strict=True)]
    Segment.objects.bulk_create(segments, batch_size=2000)
    glasses = [_glass(p, at, chance, **more) for p, s in zip(places, told, strict=True) if s != "not_surveyed"]
    ProofGlass.objects.bulk_create(glasses, batch_size=2000)
    judged = [Judged(boiler=b, judged_at=at, build=f"r{VERSION}.c1.t1", **more) for b in boilers]
    Judged.objects.bulk_create(judged, batch_size=2000)
    return make_person("mona", portfolio, "manager")


def _house(n: int, portfolio: Portfolio) -> Building:
    address = f"{n // len(NAMES) + 1} {NAMES[n % len(NAMES)]} Street"
    return Building(ref=f"S{n:05}", address=address, zone="America/New_York", portfolio=portfolio)


def _segment(boiler: Boiler, standing: str, at: datetime, portfolio: Portfolio) -> Segment:
    reasons = [{"sentence": "Slow drain of the lower cutoff, as this street's register has it.", "entry": None}]
    told = {"standing": standing, "rank": Standing(standing).rank, "reasons": reasons, "then": "Book the visit."}
    return Segment(boiler=boiler, since=at - timedelta(days=30), portfolio=portfolio, **told)


def _glass(place: Position, at: datetime, chance: random.Random, portfolio: Portfolio) -> ProofGlass:
    proved = at - timedelta(days=chance.randint(0, 420))
    due, week = proved + timedelta(days=365), at - timedelta(days=chance.randint(0, 8))
    return ProofGlass(
        portfolio=portfolio,
        boiler_id=place.boiler_id,
        hazard="dry_firing",
        position=place,
        procedure="slow_drain",
        proved_at=proved,
        due_at=due,
        exposed_at=due + timedelta(days=30),
        tick_proved_at=week,
        tick_due_at=week + timedelta(days=7),
    )
