"""Clamps that the night has found to read low or high, and the checks that were read with them meanwhile."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import Any

from django.db.models import Count, Q, QuerySet

from inspections.clamp_periods import EPOCH, NEVER_CALIBRATED
from inspections.derived import HUNDREDTHS
from inspections.models import Calibration, Decline, Inspection, Meter, MeterEffect

WITHDRAWN_BECAUSE = "meter_effect"


@dataclass(frozen=True, slots=True)
class ClampDoubt:
    """How far a clamp reads from the others between two calibrations, both ends open where there is none.  [%]"""

    meter_id: int
    effect_percent: float
    u_percent: float | None
    visits: int
    measured_at: dt.datetime
    from_on: dt.date | None
    before_on: dt.date | None

    @property
    def reads_low(self) -> bool:
        """Return whether it reads low; else it reads high, and hides losses."""
        return self.effect_percent < 0

    def holds_on(self, day: dt.date) -> bool:
        """Tell whether the clamp read like that on a day."""
        begun = self.from_on is None or day >= self.from_on
        return begun and (self.before_on is None or day < self.before_on)

    @property
    def size_percent(self) -> float:
        """Return by how much, without the sign.  [%]"""
        return abs(self.effect_percent)


def doubts_of(meter: Meter) -> list[ClampDoubt]:
    """Return the periods of a clamp that are flagged, newest first."""
    flagged = MeterEffect.objects.filter(meter=meter, flagged=True, effect__isnull=False)
    rows = list(flagged.order_by("-calibrated_day"))
    calibrated = sorted(Calibration.objects.filter(meter=meter).values_list("performed_on", flat=True)) if rows else []
    return [_doubt(row, calibrated) for row in rows]


def read_meanwhile(doubt: ClampDoubt) -> QuerySet[Inspection]:
    """Return every check that counts, read with the clamp while it read like that: the look-back list."""
    return Inspection.objects.filter(_read_meanwhile(doubt))


def read_in_any(doubts: Sequence[ClampDoubt], *, most: int) -> Q:
    """Return what picks the newest of each look-back list, so many of each."""
    lists = [read_meanwhile(doubt).order_by("-performed_at", "-pk")[:most] for doubt in doubts]
    return _any_of(Q(pk__in=rows.values("pk")) for rows in lists)


def numbers_read(doubts: Sequence[ClampDoubt]) -> list[int]:
    """Return how long each look-back list is."""
    return _counted(Inspection.objects.all(), [_read_meanwhile(doubt) for doubt in doubts])


def withdrawn_on_units_of(doubt: ClampDoubt) -> QuerySet[Decline]:
    """Return the declines withdrawn as a meter's doing on units the clamp has read meanwhile, whichever meter's."""
    return Decline.objects.filter(_on_units_of(doubt), reason=WITHDRAWN_BECAUSE)


def numbers_withdrawn(doubts: Sequence[ClampDoubt]) -> list[int]:
    """Return how many declines were withdrawn on the units of each look-back list."""
    return _counted(Decline.objects.filter(reason=WITHDRAWN_BECAUSE), [_on_units_of(doubt) for doubt in doubts])


def _read_meanwhile(doubt: ClampDoubt) -> Q:
    chosen = Q(ammeter=doubt.meter_id, signed_at__isnull=False, superseded_by__isnull=True)
    if doubt.from_on is not None:
        chosen &= Q(performed_on__gte=doubt.from_on)
    return chosen if doubt.before_on is None else chosen & Q(performed_on__lt=doubt.before_on)


def _on_units_of(doubt: ClampDoubt) -> Q:
    return Q(installation__retarder__in=read_meanwhile(doubt).order_by().values("installation__retarder"))


def _any_of(conditions: Iterable[Q]) -> Q:
    return reduce(or_, conditions)


def _counted(rows: QuerySet[Any], conditions: Sequence[Q]) -> list[int]:
    """Count by each condition, with one question for all of them."""
    if not conditions:
        return []
    counts = {f"of_{place}": Count("pk", filter=each) for place, each in enumerate(conditions)}
    return list(rows.filter(_any_of(conditions)).aggregate(**counts).values())


def _doubt(row: MeterEffect, calibrated: list[dt.date]) -> ClampDoubt:
    from_on = None if row.calibrated_day == NEVER_CALIBRATED else EPOCH + dt.timedelta(days=row.calibrated_day)
    later = [on for on in calibrated if from_on is None or on > from_on]
    return ClampDoubt(
        meter_id=row.meter_id,
        effect_percent=(row.effect or 0) / HUNDREDTHS,
        u_percent=None if row.u_effect is None else row.u_effect / HUNDREDTHS,
        visits=row.visits,
        measured_at=row.measured_at,
        from_on=from_on,
        before_on=later[0] if later else None,
    )
