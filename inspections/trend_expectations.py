"""What a unit's trend can see and a book's flags are worth: said beside them, so that nobody trusts them too far."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from statistics import median

import numpy as np
from django.db.models import Count, Q

from accounts.models import Organisation
from calc.trend import (
    FIRST_DECISION_READING,
    ChanceFlags,
    SlowestLoss,
    flagged_by_chance_per_year,
    slowest_visible_loss,
    split_noise,
)
from calc.uncertainty import NORMAL_COVERAGE_FACTOR
from fleet.models import Installation
from inspections.derived import HUNDREDTHS
from inspections.models import STAGES, Decline, Inspection

DAYS_PER_YEAR = 365.25
# The figures of so many last checks tell the pace and the meters of today.
LAST_CHECKS = 8
# Computed once for each such step: pages read what stands, and these figures need no more.
PERCENT_STEP, PACE_STEP = 0.1, 0.5
SLOWEST_PACE, FASTEST_PACE = 0.5, 24.0


@dataclass(frozen=True, slots=True)
class TrendPromise:
    """How many checks a trend has; from the first decision on also their pace and the slowest losses it can show."""

    checks: int
    checks_per_year: float | None = None
    slowest: SlowestLoss | None = None


@dataclass(frozen=True, slots=True)
class FlagCounts:
    """How many units a year are flagged by chance, and what was flagged in the last twelve months, either way."""

    installations: int
    by_chance: ChanceFlags
    falling: int
    rising: int


def trend_promise(checks: Sequence[Inspection], stages: int) -> TrendPromise:
    """Return what the unit's standing checks, oldest first, let its trend see."""
    read = [check for check in checks if any(level is not None for level in _figures(check, "level", stages))]
    if len(read) < FIRST_DECISION_READING:
        return TrendPromise(len(read))
    last = read[-LAST_CHECKS:]
    pace = _checks_per_year([check.performed_on for check in last])
    own_u, shared_u = _noise_percent(last, stages)
    return TrendPromise(len(read), pace, _slowest(stages, own_u, shared_u, pace))


def flag_counts(organisation: Organisation, *, now: dt.datetime) -> FlagCounts:
    """Return the flags to be expected by chance beside those of the last twelve months."""
    fitted = Installation.objects.of(organisation).filter(removed_on__isnull=True).count()
    recent = Decline.objects.of(organisation).filter(raised_at__gt=now - dt.timedelta(days=DAYS_PER_YEAR))
    counted = recent.aggregate(falling=Count("pk", filter=Q(rising=False)), rising=Count("pk", filter=Q(rising=True)))
    return FlagCounts(fitted, flagged_by_chance_per_year(fitted), **counted)


def _figures(check: Inspection, name: str, stages: int) -> list[int | None]:
    return [getattr(check, f"{name}_{stage}") for stage in STAGES[:stages]]


def _checks_per_year(days: Sequence[dt.date]) -> float:
    gaps = [max((later - earlier).days, 1) for earlier, later in pairwise(days)]
    return _stepped(min(max(DAYS_PER_YEAR / median(gaps), SLOWEST_PACE), FASTEST_PACE), PACE_STEP)


def _noise_percent(checks: Sequence[Inspection], stages: int) -> tuple[float, float]:
    """Return the median standard uncertainties of a level: its own, and what its visit shares."""
    levels, expanded = (
        np.array([_figures(check, name, stages) for check in checks], float) / HUNDREDTHS for name in ("level", "u")
    )
    meter, visit = (
        np.array([getattr(check, name) or 0 for check in checks], float) / HUNDREDTHS for name in ("u_meter", "u_visit")
    )
    u = expanded / NORMAL_COVERAGE_FACTOR
    split = split_noise(levels, u, meter_u_percent=meter, visit_u_percent=visit)
    own, shared = float(np.nanmedian(split.own_percent)), float(np.median(split.shared_percent))
    return _stepped(own, PERCENT_STEP), _stepped(shared, PERCENT_STEP)


def _stepped(value: float, step: float) -> float:
    return max(round(value / step), 1) * step


@cache
def _slowest(stages: int, own_u_percent: float, shared_u_percent: float, checks_per_year: float) -> SlowestLoss:
    return slowest_visible_loss(
        stages, own_u_percent=own_u_percent, shared_u_percent=shared_u_percent, checks_per_year=checks_per_year
    )
