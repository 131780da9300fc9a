"""The geometry of a column: a scale, the bands beside it, and the pipes they hang on, in units of the drawing."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from textwrap import wrap
from uuid import UUID

from fleet.web.shared.number_format import LIMITS, to_figures

# On a phone of 320 px the drawing is 288 px wide: letters of 14 units then stand 13 px high or more.
WIDTH, TOP, LINE_HEIGHT, PADDING, GAP, PIPE_SPACING = 300, 14, 18, 4, 6, 18
LETTER_WIDTH, MARGIN = 7.4, 16  # width of an average letter; side margins of a band
MIN_HEIGHT = 300
BASE_BELOW = 42  # from the foot of the scale to the boiler: room for a break in each pipe
BAND_X, LETTER_ROOM = 62, 13
MIN_TOP = {"psi": 16.0, "kPa": 110.0, "in": 8.0, "mm": 200.0}
HEADROOM = {"kPa": 7.0, "mm": 25.0}  # scale above the highest rung, by unit; 1 for others
# A broken pipe is drawn as two slanted strokes with a gap between them; both are measured up from the foot.
BREAK_LOW, BREAK_HIGH = 12, 22


HeightOf = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Band:
    """The band beside one height: its lines of text, state, darkness, and the pipes it is joined to."""

    at: float | None
    trip_value: float | None
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
        return LINE_HEIGHT * len(self.lines) + 2 * PADDING

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
        return [(self.top + PADDING + LINE_HEIGHT * (n + 1) - 5, text) for n, text in enumerate(self.lines)]


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
class ColumnDrawing:
    """The drawing of one column."""

    width: int
    height: float
    zero: float
    foot: float
    ticks: tuple[tuple[float, str], ...]
    bands: tuple[Band, ...]
    pipes: tuple[Pipe, ...]
    mark: float | None  # y of the maximum set pressure of a low-pressure boiler


def draw_column(bands: Sequence[Band], pipes: Sequence[tuple[UUID, str, bool]], unit: str) -> ColumnDrawing:
    """Return the drawing of `bands`, which come highest first; bands of unknown height come last."""
    pipe_room = LETTER_ROOM + PIPE_SPACING * len(pipes) - PIPE_SPACING / 2 if pipes else 4
    width = WIDTH - BAND_X - pipe_room
    bands = [_wrap_band(band, width) for band in bands]
    bottom = TOP + max(MIN_HEIGHT, sum(b.height + GAP for b in bands))
    low_value, top_value = _value_range(bands, unit)

    def to_y(value: float) -> float:
        return round(bottom - (bottom - TOP) * (value - low_value) / (top_value - low_value), 1)

    pipe_x = {place: WIDTH - LETTER_ROOM - PIPE_SPACING * n for n, (place, _, _) in enumerate(reversed(pipes))}
    placed_bands = _spread_bands([_locate_band(b, to_y, width, pipe_x) for b in bands], bottom)
    foot = bottom + BASE_BELOW
    draw_pipe = partial(_draw_pipe, pipe_x=pipe_x, bands=placed_bands, foot=foot)
    return ColumnDrawing(
        WIDTH,
        foot + 24,
        zero=to_y(0.0),
        foot=foot,
        ticks=_scale_ticks(low_value, top_value, to_y),
        bands=tuple(placed_bands),
        pipes=tuple(draw_pipe(place, letter, broken=broken) for place, letter, broken in pipes),
        mark=to_y(LIMITS[unit]) if unit in LIMITS else None,
    )


def _value_range(bands: Sequence[Band], unit: str) -> tuple[float, float]:
    """Return the lowest and highest value of the scale, with headroom above the highest band."""
    values = [v for b in bands for v in (b.at, b.trip_value) if v is not None]
    return min([0.0, *values]), max([MIN_TOP[unit], *(v + HEADROOM.get(unit, 1.0) for v in values)])


def _wrap_band(band: Band, width: float) -> Band:
    """Wrap the lines of a band to its width."""
    max_letters = int((width - MARGIN) / LETTER_WIDTH)
    head, *rest = (wrap(line, max_letters) for line in band.lines)
    return replace(band, lines=(*head, *(line for lines in rest for line in lines)), heads=len(head))


def _locate_band(band: Band, to_y: HeightOf, width: float, pipe_x: Mapping[UUID, float]) -> Band:
    band_y = to_y(band.at) if band.at is not None else None
    trip_y = to_y(band.trip_value) if band.trip_value is not None else None
    return replace(
        band, y=band_y, trip_y=trip_y, width=width, joints=tuple(pipe_x[p] for p in band.pipes if p in pipe_x)
    )


def _spread_bands(bands: Iterable[Band], bottom: float) -> list[Band]:
    """Move bands apart from the highest down, then up again where the last would pass the foot."""
    placed_bands: list[Band] = []
    free = float(TOP) - GAP
    for band in bands:
        wished_middle = bottom if band.y is None else band.y
        placed_bands.append(replace(band, top=max(free + GAP, wished_middle - band.height / 2)))
        free = placed_bands[-1].top + placed_bands[-1].height
    limit = bottom + LINE_HEIGHT
    for n in range(len(placed_bands) - 1, -1, -1):
        placed_bands[n] = replace(
            placed_bands[n], top=round(min(placed_bands[n].top, limit - placed_bands[n].height), 1)
        )
        limit = placed_bands[n].top - GAP
    return placed_bands


def _draw_pipe(
    place: UUID, letter: str, broken: bool, pipe_x: Mapping[UUID, float], bands: list[Band], foot: float
) -> Pipe:
    top = min((b.bottom for b in bands if place in b.pipes), default=foot)
    return Pipe(letter, pipe_x[place], top=top, foot=foot, broken=broken)


def _scale_ticks(low: float, high: float, to_y: HeightOf) -> tuple[tuple[float, str], ...]:
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 1000) if (high - low) / s <= 20)
    first = int(low // step) * step
    values = [first + step * n for n in range(int((high - first) // step) + 1) if first + step * n >= low]
    return tuple((to_y(v), to_figures(v) if v % (5 * step) == 0 else "") for v in values)
