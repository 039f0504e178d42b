"""Trend small multiples: one drawing a stage, all on the same axes."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from dashboard.drawings.axis import Axis

LEVEL_AXIS = Axis(80, 120)
SHAPES = ["circle", "square", "triangle", "diamond"]
SHORTEST_DAYS, LEAST_FAN_POINTS = 30, 2
# A crossing further off than this is told in words; drawn, it would squeeze the readings into a corner.
LONGEST_LOOK_AHEAD_DAYS = 730
# A fan needs some room to open in, where no latest crossing asks for more.
LEAST_LOOK_AHEAD_DAYS = 365


@dataclass(frozen=True, slots=True)
class Dot:
    """One check's level with its uncertainty."""

    at: float
    level: float
    top: float
    bottom: float
    shape: str
    off_scale: str
    on: dt.date
    level_percent: float
    expanded_uncertainty_percent: float
    meter: str


@dataclass(frozen=True, slots=True)
class Line:
    """A thin line from one dot to the next."""

    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True, slots=True)
class Rule:
    """An upright rule at a repair or refit, where the line breaks."""

    at: float
    letter: str
    text: str
    on: dt.date


@dataclass(frozen=True, slots=True)
class Bracket:
    """When the stage is expected to cross its lower limit: from the earliest to the latest, a tick at the median."""

    start: float
    end: float
    tick: float | None

    @property
    def width(self) -> float:
        """Return how wide the bracket is."""
        return round(self.end - self.start, 2)


@dataclass(frozen=True, slots=True)
class Fan:
    """Where the level may lie from the last check on, as outlines: 90 of 100 cases, 50 of 100, and the middle."""

    wide: str
    narrow: str
    middle: str


@dataclass(frozen=True, slots=True)
class StageTrend:
    """The drawing of one stage, and the stage as it was given for words and table."""

    stage: int
    dots: tuple[Dot, ...]
    lines: tuple[Line, ...]
    bracket: Bracket | None
    fan: Fan | None
    given: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Trend:
    """Every stage, and what their drawings share."""

    stages: tuple[StageTrend, ...]
    rules: tuple[Rule, ...]
    lower: float | None
    upper: float | None
    rated: float
    first_on: dt.date | None
    last_on: dt.date | None
    shapes: Mapping[str, str]

    @property
    def has_fan(self) -> bool:
        """Return whether a forecast is drawn."""
        return any(stage.fan is not None for stage in self.stages)

    @property
    def band_height(self) -> float | None:
        """Return how high the band between the limits is."""
        return None if self.lower is None or self.upper is None else round(self.lower - self.upper, 2)


def trend_of(trend: Mapping[str, Any]) -> Trend:
    """Return the drawings of a trend as the contract shapes it.

    Beyond the contract a point may name its `meter`, a stage may have a `fan` (a list of days, each with five levels),
    and the trend may carry `events` ({on, letter, text}) and `limits_percent` (lower, upper).
    """
    stages, events = trend["stages"], trend.get("events", ())
    days = _axis_of_days(stages, events)
    meters = dict.fromkeys(point.get("meter", "") for stage in stages for point in stage["points"])
    shapes = {meter: SHAPES[index % len(SHAPES)] for index, meter in enumerate(meters)}
    breaks = [event["on"] for event in events]
    lower, upper = trend.get("limits_percent") or (None, None)
    return Trend(
        stages=tuple(_stage(stage, days, shapes, breaks) for stage in stages),
        rules=tuple(
            Rule(days.place(event["on"].toordinal()), event["letter"], event["text"], event["on"]) for event in events
        ),
        lower=None if lower is None else _height(lower),
        upper=None if upper is None else _height(upper),
        rated=_height(100),
        first_on=dt.date.fromordinal(int(days.low)) if meters else None,
        last_on=dt.date.fromordinal(int(days.high)) if meters else None,
        shapes=shapes,
    )


def _axis_of_days(stages: Iterable[Mapping[str, Any]], events: Iterable[Mapping[str, Any]]) -> Axis:
    points = [_day(point["performed_at"]).toordinal() for stage in stages for point in stage["points"]]
    days = points + [event["on"].toordinal() for event in events]
    if not days:
        return Axis(0, SHORTEST_DAYS)
    horizon = max(days) + LONGEST_LOOK_AHEAD_DAYS
    ahead = [min(on.toordinal(), horizon) for stage in stages if (on := stage.get("crosses_latest_on"))]
    ahead += [max(days) + LEAST_LOOK_AHEAD_DAYS for stage in stages if stage.get("fan")]
    return Axis(min(days), max(max(days + ahead), min(days) + SHORTEST_DAYS))


def _day(at: dt.datetime | dt.date) -> dt.date:
    return at.date() if isinstance(at, dt.datetime) else at


def _height(level_percent: float) -> float:
    return round(100 - LEVEL_AXIS.place(level_percent), 2)


def _stage(stage: Mapping[str, Any], days: Axis, shapes: Mapping[str, str], breaks: Sequence[dt.date]) -> StageTrend:
    dots = tuple(_dot(point, days, shapes) for point in stage["points"])
    lines = tuple(
        Line(one.at, one.level, two.at, two.level)
        for one, two in pairwise(dots)
        if not any(one.on <= on <= two.on for on in breaks)
    )
    return StageTrend(stage["stage"], dots, lines, _bracket(stage, days), _fan(stage, days), stage)


def _fan(stage: Mapping[str, Any], days: Axis) -> Fan | None:
    points = [point for point in stage.get("fan", ()) if days.holds(point.on.toordinal())]
    if len(points) < LEAST_FAN_POINTS:
        return None
    at = [days.place(point.on.toordinal()) for point in points]
    edges = [
        [_height(level) for level in edge] for edge in zip(*(point.levels_percent for point in points), strict=True)
    ]
    lowest, low, middle, high, highest = ([f"{x},{y}" for x, y in zip(at, edge, strict=True)] for edge in edges)
    return Fan(wide=_outline(lowest, highest), narrow=_outline(low, high), middle=" ".join(middle))


def _outline(lower: Sequence[str], upper: Sequence[str]) -> str:
    return " ".join([*lower, *reversed(upper)])


def _dot(point: Mapping[str, Any], days: Axis, shapes: Mapping[str, str]) -> Dot:
    on, level = _day(point["performed_at"]), point["level_percent"]
    u = point["expanded_uncertainty_percent"] or 0.0
    meter = point.get("meter", "")
    return Dot(
        at=days.place(on.toordinal()),
        level=_height(level),
        top=_height(level + u),
        bottom=_height(level - u),
        shape=shapes[meter],
        off_scale=_off_scale(level),
        on=on,
        level_percent=level,
        expanded_uncertainty_percent=u,
        meter=meter,
    )


def _off_scale(level_percent: float) -> str:
    if LEVEL_AXIS.holds(level_percent):
        return ""
    return "below" if level_percent < LEVEL_AXIS.low else "above"


def _bracket(stage: Mapping[str, Any], days: Axis) -> Bracket | None:
    earliest, latest = stage.get("crosses_earliest_on"), stage.get("crosses_latest_on")
    if earliest is None or not days.holds(earliest.toordinal()):
        return None
    median = stage.get("crosses_lower_limit_on")
    tick = days.place(median.toordinal()) if median and days.holds(median.toordinal()) else None
    end = days.place(latest.toordinal()) if latest else 100.0
    return Bracket(days.place(earliest.toordinal()), end, tick)
