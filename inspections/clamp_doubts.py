"""Clamps that the night has found to read low or high, and the checks that were read with them meanwhile."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import Any

from django.db.models import Count, Q, QuerySet

from inspections.clamp_periods import NEVER_CALIBRATED, day_on
from inspections.derived import HUNDREDTHS
from inspections.models import Calibration, Decline, Inspection, Meter, MeterEffect

WITHDRAWN_BECAUSE = "meter_effect"


@dataclass(frozen=True, slots=True)
class ClampDoubt:
    """How far a clamp reads from the others between two calibrations, both ends open where there is none.  [%]

    Either end may also be a step, found by comparison while no calibration is on file: `found_since` and `found_until`
    say so.  Where no other clamp corroborates a step the effect is what the units read with the clamp show otherwise
    than before, and the units may be the cause.
    """

    meter_id: int
    effect_percent: float
    u_percent: float | None
    visits: int
    measured_at: dt.datetime
    from_on: dt.date | None
    before_on: dt.date | None
    found_since: bool = False
    found_until: bool = False
    corroborated: bool = True

    @property
    def reads_low(self) -> bool:
        """Return whether it reads low, or shows less; else it reads high, and hides losses."""
        return self.effect_percent < 0

    @property
    def is_replaced(self) -> bool:
        """Return whether a calibration put on file since leaves nothing of what was found by comparison."""
        ends = self.from_on is not None and self.before_on is not None and self.before_on <= self.from_on
        return self.found_since and ends

    def holds_on(self, day: dt.date) -> bool:
        """Tell whether the clamp read like that on a day."""
        begun = self.from_on is None or day >= self.from_on
        return begun and (self.before_on is None or day < self.before_on)

    @property
    def size_percent(self) -> float:
        """Return by how much, without the sign.  [%]"""
        return abs(self.effect_percent)


def doubts_of(meter: Meter) -> list[ClampDoubt]:
    """Return the periods of a clamp that are flagged or in doubt, newest first."""
    rows = list(MeterEffect.objects.filter(meter=meter).order_by("-calibrated_day", "-since_day"))
    told = [row for row in rows if row.effect is not None and (row.flagged or not row.corroborated)]
    if not told:
        return []
    calibrated = sorted(Calibration.objects.filter(meter=meter).values_list("performed_on", flat=True))
    doubts = [doubt_of(row, rows, calibrated) for row in told]
    return [doubt for doubt in doubts if not doubt.is_replaced]


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


def doubt_of(row: MeterEffect, rows: Sequence[MeterEffect], calibrated: Sequence[dt.date]) -> ClampDoubt:
    """Return what a row says, from all rows of its clamp and the days of its calibrations."""
    calibrated_on = None if row.calibrated_day == NEVER_CALIBRATED else day_on(row.calibrated_day)
    calibrations = [on for on in calibrated if calibrated_on is None or on > calibrated_on]
    steps = [day_on(each.since_day) for each in rows if _ends(each, row)]
    before_on = min([*calibrations, *steps], default=None)
    return ClampDoubt(
        meter_id=row.meter_id,
        effect_percent=(row.effect or 0) / HUNDREDTHS,
        u_percent=None if row.u_effect is None else row.u_effect / HUNDREDTHS,
        visits=row.visits,
        measured_at=row.measured_at,
        from_on=day_on(row.since_day) if row.is_part else calibrated_on,
        before_on=before_on,
        found_since=row.is_part,
        found_until=before_on is not None and before_on not in calibrations,
        corroborated=row.corroborated,
    )


def _ends(step: MeterEffect, row: MeterEffect) -> bool:
    """Tell whether a step after it ends what a row says; a doubt does where going on might hide losses."""
    if step.calibrated_day != row.calibrated_day or step.since_day <= row.since_day:
        return False
    return step.corroborated or not row.corroborated or (step.effect or 0) > 0 > (row.effect or 0)


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
