"""The small drawings, one tag each; every one has its words beside it, so that nothing is told by a picture alone."""

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

from django import template
from django.utils import timezone

from calc.due import LimbDue
from dashboard.drawings.rail import due_rail_of, due_sentence, today_of
from dashboard.drawings.strip import stage_strip_of
from dashboard.drawings.trend import trend_of
from dashboard.drawings.verdict import verdict_mark_of
from schedules.models import DueDate

register = template.Library()


@register.inclusion_tag("dashboard/marks/verdict.html")
def verdict_mark(verdict: str | None) -> dict[str, object]:
    """Draw the mark of a verdict and write its word."""
    return verdict_mark_of(verdict)


@register.inclusion_tag("dashboard/marks/strip.html")
def stage_strip(
    stage: Mapping[str, Any], previous_level_percent: float | None = None, guarded: bool = True
) -> dict[str, object]:
    """Draw one stage of a judgement; `previous_level_percent` becomes the small grey ring."""
    strip = stage_strip_of(stage, previous_level_percent=previous_level_percent, guarded=guarded)
    return {"strip": strip, "stage": stage, "previous_level_percent": previous_level_percent}


@register.filter
def reading(value: float | None) -> str:
    """Write a reading without the zeros that nobody typed.

    >>> reading(40.1), reading(12.0)
    ('40.1', '12')
    """
    return "" if value is None else f"{value:.3f}".rstrip("0").rstrip(".")


@register.filter
def signed(value: float | None) -> str:
    """Write a change with its sign.

    >>> signed(-3.74), signed(0.5)
    ('−3.7', '+0.5')
    """
    return "" if value is None else f"{value:+.1f}".replace("-", "−")


@register.inclusion_tag("dashboard/marks/rail.html")
def due_rail(
    due: DueDate | None,
    limbs: Iterable[LimbDue] = (),
    fitted_on: dt.date | None = None,
    today: dt.date | None = None,
) -> dict[str, object]:
    """Draw the way from the last check to the due date and say the sentence."""
    if due is None:
        return {"rail": None, "sentence": due_sentence(None, today or timezone.localdate())}
    today = today or today_of(due, timezone.now())
    rail = due_rail_of(due, today, limbs=limbs, fitted_on=fitted_on)
    return {"rail": rail, "sentence": due_sentence(due, today), "due": due, "today": today}


@register.simple_tag(name="due_sentence")
def due_sentence_tag(due: DueDate | None) -> str:
    """Write when the next check is due."""
    today = today_of(due, timezone.now()) if due is not None else timezone.localdate()
    return due_sentence(due, today)


@register.inclusion_tag("dashboard/marks/trend.html")
def trend_multiples(trend: Mapping[str, Any]) -> dict[str, object]:
    """Draw one small chart a stage, all on the same axes, with a table of what they show."""
    return {"trend": trend_of(trend), "given": trend}
