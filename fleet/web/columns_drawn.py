"""The geometry of a column: a scale, the bands beside it, and the pipes they hang on, in units of the drawing."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from textwrap import wrap
from uuid import UUID

from fleet.web.figures import LIMITS, figures

# On a phone of 320 px the drawing is 288 px wide: letters of 14 units then stand 13 px high or more.
WIDTH, TOP, LINE, PAD, GAP, PIPE = 300, 14, 18, 4, 6, 18
LETTER_WIDTH, MARGIN = 7.4, 16  # width of an average letter; side margins of a band
LEAST_HEIGHT = 300
BASE_BELOW = 42  # from the foot of the scale to the boiler: room for a break in each pipe
BAND_X, LETTER = 62, 13
LEAST = {"psi": 16.0, "kPa": 110.0, "in": 8.0, "mm": 200.0}
ROOM = {"kPa": 7.0, "mm": 25.0}  # scale above the highest rung, by unit; 1 for others
# A broken pipe is drawn as two slanted strokes with a gap between them; both are measured up from the foot.
BREAK_LOW, BREAK_HIGH = 12, 22


Height = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Band:
    """The band beside one height: its lines of text, state, darkness, and the pipes it is joined to."""

    at: float | None
    tripped: float | None
    lines: tuple[str, ...]
    state: str
    dark: bool
    pipes: tuple[UUID, ...]
    y: float | None = None
    top: float = 0.0
    width: float = 0.0
    trip_y: float | None = None
    joints: tuple[float, ...] = ()
    heads: int = 1  # how many of its lines are its name

    @property
    def height(self) -> float:
        """Its height, from its number of lines."""
        return LINE * len(self.lines) + 2 * PAD

    @property
    def middle(self) -> float:
        """The y at which its leader ends."""
        return self.top + self.height / 2

    @property
    def bottom(self) -> float:
        """The y of the line under it, which leads to its pipes."""
        return self.top + self.height

    @property
    def reach(self) -> float | None:
        """The x of the farthest pipe it is joined to; None without pipes."""
        return max(self.joints, default=None)

    @property
    def texts(self) -> list[tuple[float, str]]:
        """Each line with its y."""
        return [(self.top + PAD + LINE * (n + 1) - 5, text) for n, text in enumerate(self.lines)]


@dataclass(frozen=True, slots=True)
class Pipe:
    """One pipe, from the boiler up to the highest band that hangs on it."""

    letter: str
    x: float
    top: float
    foot: float
    broken: bool

    @property
    def low(self) -> float:
        """The y at which the lower part breaks off."""
        return self.foot - BREAK_LOW

    @property
    def high(self) -> float:
        """The y at which the upper, dark part begins."""
        return self.foot - BREAK_HIGH


@dataclass(frozen=True, slots=True)
class Drawing:
    """The drawing of one column."""

    width: int
    height: float
    zero: float
    foot: float
    ticks: tuple[tuple[float, str], ...]
    bands: tuple[Band, ...]
    pipes: tuple[Pipe, ...]
    mark: float | None  # y of the maximum set pressure of a low-pressure boiler


def draw(bands: Sequence[Band], pipes: Sequence[tuple[UUID, str, bool]], unit: str) -> Drawing:
    """Return the drawing of `bands`, which come highest first; bands of unknown height come last."""
    over = LETTER + PIPE * len(pipes) - PIPE / 2 if pipes else 4
    width = WIDTH - BAND_X - over
    bands = [_wrapped(band, width) for band in bands]
    room = sum(b.height + GAP for b in bands)
    bottom = TOP + max(LEAST_HEIGHT, room)
    top_value = max(
        [LEAST[unit], *(v + ROOM.get(unit, 1.0) for b in bands for v in (b.at, b.tripped) if v is not None)]
    )
    low_value = min([0.0, *(v for b in bands for v in (b.at, b.tripped) if v is not None)])

    def y(value: float) -> float:
        return round(bottom - (bottom - TOP) * (value - low_value) / (top_value - low_value), 1)

    xs = {place: WIDTH - LETTER - PIPE * n for n, (place, _, _) in enumerate(reversed(pipes))}
    placed = _placed([_at(b, y, width, xs) for b in bands], bottom)
    foot = bottom + BASE_BELOW
    tubes = tuple(_pipe(place, letter, broken, xs, placed, foot) for place, letter, broken in pipes)
    mark = y(LIMITS[unit]) if unit in LIMITS else None
    return Drawing(WIDTH, foot + 24, y(0.0), foot, _ticks(low_value, top_value, y), tuple(placed), tubes, mark)


def _wrapped(band: Band, width: float) -> Band:
    """Wrap the lines of a band to its width."""
    most = int((width - MARGIN) / LETTER_WIDTH)
    head, *rest = (wrap(line, most) for line in band.lines)
    return replace(band, lines=(*head, *(line for lines in rest for line in lines)), heads=len(head))


def _at(band: Band, y: Height, width: float, xs: Mapping[UUID, float]) -> Band:
    here = y(band.at) if band.at is not None else None
    trip = y(band.tripped) if band.tripped is not None else None
    return replace(band, y=here, trip_y=trip, width=width, joints=tuple(xs[p] for p in band.pipes if p in xs))


def _placed(bands: Iterable[Band], bottom: float) -> list[Band]:
    """Move bands apart from the highest down, then up again where the last would pass the foot."""
    found: list[Band] = []
    free = float(TOP) - GAP
    for band in bands:
        wished = bottom if band.y is None else band.y
        found.append(replace(band, top=max(free + GAP, wished - band.height / 2)))
        free = found[-1].top + found[-1].height
    limit = bottom + LINE
    for n in range(len(found) - 1, -1, -1):
        found[n] = replace(found[n], top=round(min(found[n].top, limit - found[n].height), 1))
        limit = found[n].top - GAP
    return found


def _pipe(place: UUID, letter: str, broken: bool, xs: Mapping[UUID, float], bands: list[Band], foot: float) -> Pipe:
    top = min((b.bottom for b in bands if place in b.pipes), default=foot)
    return Pipe(letter, xs[place], top, foot, broken)


def _ticks(low: float, high: float, y: Height) -> tuple[tuple[float, str], ...]:
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 1000) if (high - low) / s <= 20)
    first = int(low // step) * step
    values = [first + step * n for n in range(int((high - first) // step) + 1) if first + step * n >= low]
    return tuple((y(v), figures(v) if v % (5 * step) == 0 else "") for v in values)
