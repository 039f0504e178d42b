"""The forecast of a unit as a fan, worked out for the one page that draws it: the night stores only the crossings."""

import datetime as dt
from dataclasses import dataclass

import numpy as np

from calc.arrays import Floats
from calc.trend import SeriesBatch, forecast_fan
from calc.trend.packed import DAYS_PER_YEAR, EPOCH_DATE
from fleet.models import Installation
from inspections.clamp_corrections import corrections_of
from inspections.packed import Column, read_rows
from inspections.series import UNIT_COLUMNS, Units, histories_of

POINTS, LONGEST_DAYS = 25, 730

_UNIT = """
FROM fleet_installation i
JOIN fleet_retarder r ON r.id = i.retarder_id
JOIN fleet_retardertype k ON k.id = r.retarder_type_id
WHERE i.organisation_id = %s AND i.id = %s
"""
_CHECKS = """
FROM fleet_installation i JOIN inspections_inspection v ON v.installation_id = i.id
WHERE i.organisation_id = %s AND i.retarder_id = %s AND v.superseded_by_id IS NULL AND v.signed_at IS NOT NULL
"""
_UNIT_COLUMNS = [*UNIT_COLUMNS[:-1], Column("mark", "0", "big")]


@dataclass(frozen=True, slots=True)
class FanPoint:
    """Levels on a day that the true one lies below in 5, 25, 50, 75 and 95 of a hundred cases.  [%]"""

    on: dt.date
    levels_percent: tuple[float, ...]


def fans_of(unit: Installation) -> dict[int, list[FanPoint]]:
    """Return the fan of each stage that is losing current as its evidence stands now, from its last check on."""
    organisation = unit.organisation
    units = Units.of(read_rows(_UNIT_COLUMNS, _UNIT, [organisation.pk, unit.pk]))
    histories = histories_of(units, _CHECKS, [organisation.pk, unit.retarder_id])
    if not histories.batch.visits:
        return {}
    ahead_days = np.linspace(0, LONGEST_DAYS, POINTS)
    corrections = corrections_of(organisation, histories.clamps)
    fan = forecast_fan(histories.batch, ahead_days / DAYS_PER_YEAR, corrections)[..., 0]
    return {
        stage + 1: _points(fan[:, :, stage], _last_on(histories.batch, stage), ahead_days)
        for stage in np.flatnonzero(~np.isnan(fan).any(axis=(0, 1))).tolist()
    }


def _points(levels: Floats, last_on: dt.date, ahead_days: Floats) -> list[FanPoint]:
    days = (last_on + dt.timedelta(days=round(ahead)) for ahead in ahead_days.tolist())
    return [FanPoint(on, tuple(at)) for on, at in zip(days, levels.T.tolist(), strict=True)]


def _last_on(batch: SeriesBatch, stage: int) -> dt.date:
    read = ~np.isnan(batch.levels_percent[:, stage, 0])
    return EPOCH_DATE + dt.timedelta(days=int(batch.years[read, 0].max() * DAYS_PER_YEAR))
