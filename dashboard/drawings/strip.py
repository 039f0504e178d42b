"""The stage strip: one stage's reading against its limits, on an axis that all stages share."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dashboard.drawings.axis import Axis, Span, span
from dashboard.drawings.verdict import MARKS

AXIS = Axis(80, 120)
CAPABLE = 1.0


@dataclass(frozen=True, slots=True)
class Strip:
    """What is drawn, in percent of the width; None where there is nothing to draw."""

    stage: int
    verdict: str
    hue: str
    solid: bool
    band: Span | None
    guards: tuple[Span, ...]
    rated: float
    reading: float | None
    whisker: Span | None
    off_scale: str
    previous: float | None
    can_be_clear: bool
    level_percent: float | None
    figures: Mapping[str, Any]


def stage_strip_of(
    stage: Mapping[str, Any], *, previous_level_percent: float | None = None, guarded: bool = True
) -> Strip:
    """Return the strip of one stage of a judgement; `previous_level_percent` is what the last check found."""
    mark = MARKS[stage["verdict"]]
    level = stage.get("level_percent")
    percent_per_a = _percent_per_a(stage)
    limits = _limits_percent(stage, percent_per_a)
    u_percent = _u_percent(stage, percent_per_a)
    capability = stage.get("capability")
    return Strip(
        stage=stage["stage"],
        verdict=stage["verdict"],
        hue=mark.hue,
        solid=mark.solid,
        band=span(AXIS, *limits) if limits else None,
        guards=_guards(limits, u_percent) if guarded else (),
        rated=AXIS.place(100),
        reading=None if level is None else AXIS.place(level),
        whisker=None if level is None or u_percent is None else span(AXIS, level - u_percent, level + u_percent),
        off_scale=_off_scale(level),
        previous=None if previous_level_percent is None else AXIS.place(previous_level_percent),
        can_be_clear=capability is None or capability >= CAPABLE,
        level_percent=level,
        figures=stage,
    )


def _percent_per_a(stage: Mapping[str, Any]) -> float | None:
    # The uncertainty is never nothing, while a dead stage's current and level are.
    u_percent, u_a = stage.get("expanded_uncertainty_percent"), stage.get("expanded_uncertainty_a")
    return u_percent / u_a if u_percent and u_a else None


def _limits_percent(stage: Mapping[str, Any], percent_per_a: float | None) -> tuple[float, float] | None:
    lower_a, upper_a = stage.get("lower_limit_a"), stage.get("upper_limit_a")
    if percent_per_a is None or (lower_a is None and upper_a is None):
        return None
    # A rating may have one limit only: the band is then open to the end of the scale.
    low = AXIS.low if lower_a is None else lower_a * percent_per_a
    high = AXIS.high if upper_a is None else upper_a * percent_per_a
    return low, high


def _u_percent(stage: Mapping[str, Any], percent_per_a: float | None) -> float | None:
    u_a = stage.get("expanded_uncertainty_a")
    return None if percent_per_a is None or u_a is None else u_a * percent_per_a


def _guards(limits: tuple[float, float] | None, u_percent: float | None) -> tuple[Span, ...]:
    if limits is None or u_percent is None:
        return ()
    low, high = limits
    return (span(AXIS, low, min(low + u_percent, high)), span(AXIS, max(high - u_percent, low), high))


def _off_scale(level_percent: float | None) -> str:
    if level_percent is None or AXIS.holds(level_percent):
        return ""
    return "below" if level_percent < AXIS.low else "above"
