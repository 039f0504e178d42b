"""What the comparison of an organisation's clamps rests on: every check of the units that are fitted.

A vehicle that is off the road for a while says as much about the clamps as before: its checks stay.
"""

from collections.abc import Iterator

import numpy as np
from django.db import connection

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from calc.arrays import Floats, Ints
from calc.trend import MeterVisits, SeriesBatch
from inspections.clamp_periods import NEVER_CALIBRATED, day_of, period_key
from inspections.models import Calibration, Meter
from inspections.packed import Column, read_rows
from inspections.series import UNIT_COLUMNS, Units, checks_of

UNITS_PER_RANGE = 10_000

_FITTED = """
FROM fleet_installation i
JOIN fleet_retarder r ON r.id = i.retarder_id
JOIN fleet_retardertype k ON k.id = r.retarder_type_id
WHERE i.organisation_id = %s AND i.removed_on IS NULL
"""
_RANGES = f"""
SELECT min(unit), max(unit) FROM (
    SELECT i.retarder_id AS unit, (row_number() OVER (ORDER BY i.retarder_id) - 1) / %s AS part {_FITTED}) numbered
GROUP BY part ORDER BY 1
"""  # noqa: S608
_CHECKS = """
FROM fleet_installation i JOIN inspections_inspection v ON v.installation_id = i.id
WHERE i.organisation_id = %s AND i.retarder_id BETWEEN %s AND %s
AND v.superseded_by_id IS NULL AND v.signed_at IS NOT NULL
"""
_UNIT_COLUMNS = [*UNIT_COLUMNS[:-1], Column("mark", "0", "big")]


class KeysMoved(Exception):
    """A calibration was filed while the visits were read: the clamps are numbered otherwise now."""


def visits_of_all(organisation: Organisation, keys: Ints) -> Iterator[MeterVisits]:
    """Yield the visits of every unit, range by range, their meters numbered by the keys of the clamp periods.

    Raises KeysMoved where a calibration was filed since the keys were read.
    """
    for first, last in _ranges(organisation):
        with organisation_transaction(organisation):
            in_range = f"{_FITTED} AND i.retarder_id BETWEEN %s AND %s"
            units = Units.of(read_rows(_UNIT_COLUMNS, in_range, [organisation.pk, first, last]))
            if not len(units):
                continue
            checks = checks_of(units, _CHECKS, [organisation.pk, first, last])
        if not np.isin(checks.clamps, keys).all():
            raise KeysMoved
        for histories in checks.histories():
            visits = _visits(histories.batch, np.searchsorted(keys, histories.clamps))
            if len(visits.unit):
                yield visits


def period_keys(organisation: Organisation) -> Ints:
    """Return the keys of all clamp periods of an organisation, rising."""
    clamps = Meter.objects.of(organisation).filter(kind="ammeter").values_list("pk", flat=True)
    calibrations = Calibration.objects.of(organisation).filter(meter__kind="ammeter")
    begun = [(meter, day_of(on)) for meter, on in calibrations.values_list("meter", "performed_on")]
    pairs = [*((clamp, NEVER_CALIBRATED) for clamp in clamps), *begun]
    keys: Ints = np.unique(np.array([period_key(*pair) for pair in pairs], np.int64))
    return keys


def _ranges(organisation: Organisation) -> Iterator[tuple[int, int]]:
    with organisation_transaction(organisation), connection.cursor() as cursor:
        cursor.execute(_RANGES, [UNITS_PER_RANGE, organisation.pk])
        ranges = cursor.fetchall()
    yield from ranges


def _visits(batch: SeriesBatch, number_of_meter: Ints) -> MeterVisits:
    """Return what the visits with a known temperature say of all stages together."""
    read = np.isfinite(batch.levels_percent)
    stages_read = read.sum(axis=1)
    visit, unit = np.nonzero(np.isfinite(batch.years) & (stages_read > 0) & batch.temperature_known)
    stages_read = np.maximum(stages_read, 1)
    common: Floats = np.where(read, batch.levels_percent, 0.0).sum(axis=1) / stages_read - 100.0
    own_variance = np.where(read, batch.u_own_percent**2, 0.0).sum(axis=1) / stages_read**2
    variance = own_variance + batch.u_shared_percent**2
    # A repair begins another baseline: the same unit, but not the same offset.
    begun = np.cumsum(batch.repaired, axis=0)
    _, baseline = np.unique(unit * (len(begun) + 1) + begun[visit, unit], return_inverse=True)
    return MeterVisits(
        baseline.astype(np.int64),
        number_of_meter[batch.meters[visit, unit]],
        batch.years[visit, unit],
        common[visit, unit],
        variance[visit, unit],
        units=int(baseline.max(initial=-1)) + 1,
    )
