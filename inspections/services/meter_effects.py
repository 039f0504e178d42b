"""Measure the clamps of an organisation against each other, from the units that several of them have read.

The whole fleet is read range by range and only its equations are kept; what a clamp reads low or high is taken out of
the levels from then on, and the units it has read go on the night's list.
"""

import datetime as dt
from collections.abc import Iterator

import numpy as np
from django.db import connection
from django.utils import timezone

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from calc.arrays import Floats, Ints
from calc.trend import Corrections, MeterEffects, MeterSums, SeriesBatch
from inspections.clamp_periods import NEVER_CALIBRATED, day_of, period_key, period_of
from inspections.derived import HUNDREDTHS
from inspections.models import Calibration, Inspection, Meter, MeterEffect, TrendNews
from inspections.packed import Column, read_rows
from inspections.series import UNIT_COLUMNS, Units, histories_of
from inspections.services.trend_news import note_news
from schedules.queries import installations_in_service

MEASURED_EVERY = dt.timedelta(days=7)
# A fleet of this size is measured within a second, whenever there is news.
SMALL_FLEET = 2_000
UNITS_PER_RANGE = 10_000
# Effects are taken out in whole tenths of a percent, so that they do not move a trend from night to night.
TENTHS = 10

_IN_SERVICE = """
FROM fleet_installation i
JOIN fleet_vehicle v ON v.id = i.vehicle_id AND v.in_service
JOIN fleet_retarder r ON r.id = i.retarder_id
JOIN fleet_retardertype k ON k.id = r.retarder_type_id
WHERE i.organisation_id = %s AND i.removed_on IS NULL
"""
_RANGES = f"""
SELECT min(unit), max(unit) FROM (
    SELECT i.retarder_id AS unit, (row_number() OVER (ORDER BY i.retarder_id) - 1) / %s AS part {_IN_SERVICE}) numbered
GROUP BY part ORDER BY 1
"""  # noqa: S608
_CHECKS = """
FROM fleet_installation i JOIN inspections_inspection v ON v.installation_id = i.id
WHERE i.organisation_id = %s AND i.retarder_id BETWEEN %s AND %s
AND v.superseded_by_id IS NULL AND v.signed_at IS NOT NULL
"""
_UNIT_COLUMNS = [*UNIT_COLUMNS[:-1], Column("mark", "0", "big")]


def refresh_meter_effects(organisation: Organisation) -> None:
    """Measure the clamps anew where that is due, and put on the list what other corrections change."""
    with organisation_transaction(organisation):
        if not _is_due(organisation):
            return
    keys, measured = measured_effects(organisation)
    with organisation_transaction(organisation):
        _store(organisation, keys, measured)


def measured_effects(organisation: Organisation) -> tuple[Ints, MeterEffects]:
    """Return the period keys of the organisation's clamps and the effect of each, from every check in service."""
    with organisation_transaction(organisation):
        keys = _period_keys(organisation)
    sums = MeterSums(len(keys))
    for first, last in _ranges(organisation):
        with organisation_transaction(organisation):
            in_range = f"{_IN_SERVICE} AND i.retarder_id BETWEEN %s AND %s"
            units = Units.of(read_rows(_UNIT_COLUMNS, in_range, [organisation.pk, first, last]))
            if not len(units):
                continue
            histories = histories_of(units, _CHECKS, [organisation.pk, first, last])
        _add(sums, histories.batch, np.searchsorted(keys, histories.clamps))
    return keys, sums.effects()


def corrections_of(organisation: Organisation, clamps: Ints) -> Corrections | None:
    """Return what to take out of the levels that some clamps read, by their period keys; None where nothing."""
    flagged = MeterEffect.objects.of(organisation).filter(flagged=True)
    known = {period_key(row.meter_id, row.calibrated_day): _taken_out(row) for row in flagged}
    effects = [known.get(key) for key in clamps.tolist()]
    if not any(effect is not None for effect in effects):
        return None
    return Corrections(
        np.array([effect or 0.0 for effect in effects]), np.array([each is not None for each in effects])
    )


def _is_due(organisation: Organisation) -> bool:
    if not TrendNews.objects.of(organisation).exists():
        return False
    last = MeterEffect.objects.of(organisation).order_by("-measured_at").first()
    if last is None or last.measured_at < timezone.now() - MEASURED_EVERY:
        return True
    return len(installations_in_service(organisation)[: SMALL_FLEET + 1].values_list("pk")) <= SMALL_FLEET


def _period_keys(organisation: Organisation) -> Ints:
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


def _add(sums: MeterSums, batch: SeriesBatch, number_of_meter: Ints) -> None:
    """Take in what the visits with a known temperature say of all stages together."""
    read = np.isfinite(batch.levels_percent)
    stages_read = read.sum(axis=1)
    visit, unit = np.nonzero(np.isfinite(batch.years) & (stages_read > 0) & batch.temperature_known)
    if not len(visit):
        return
    stages_read = np.maximum(stages_read, 1)
    common: Floats = np.where(read, batch.levels_percent, 0.0).sum(axis=1) / stages_read - 100.0
    own_variance = np.where(read, batch.u_own_percent**2, 0.0).sum(axis=1) / stages_read**2
    variance = own_variance + batch.u_shared_percent**2
    # A repair begins another baseline: the same unit, but not the same offset.
    begun = np.cumsum(batch.repaired, axis=0)
    _, baseline = np.unique(unit * (len(begun) + 1) + begun[visit, unit], return_inverse=True)
    sums.add(
        baseline,
        number_of_meter[batch.meters[visit, unit]],
        batch.years[visit, unit],
        common[visit, unit],
        variance[visit, unit],
        units=int(baseline.max()) + 1,
    )


def _store(organisation: Organisation, keys: Ints, measured: MeterEffects) -> None:
    before = {(row.meter_id, row.calibrated_day): _taken_out(row) for row in MeterEffect.objects.of(organisation)}
    rows = _rows(organisation, keys, measured)
    now = {(row.meter_id, row.calibrated_day): _taken_out(row) for row in rows}
    MeterEffect.objects.of(organisation).filter(measured_at__lt=timezone.now()).delete()
    MeterEffect.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["meter", "calibrated_day"],
        update_fields=["effect", "u_effect", "visits", "flagged", "measured_at"],
    )
    changed = {meter for meter, day in before.keys() | now.keys() if before.get((meter, day)) != now.get((meter, day))}
    if changed:
        read = Inspection.objects.of(organisation).filter(ammeter__in=changed)
        note_news(organisation.pk, read.values_list("installation__retarder", flat=True).distinct())


def _rows(organisation: Organisation, keys: Ints, measured: MeterEffects) -> list[MeterEffect]:
    clamps, days = (each.tolist() for each in period_of(keys))
    flagged = (measured.reads_low | measured.reads_high).tolist()
    at = timezone.now()
    return [
        MeterEffect(
            organisation=organisation,
            meter_id=clamps[number],
            calibrated_day=days[number],
            effect=_hundredths(measured.effect_percent[number]),
            u_effect=_hundredths(measured.u_percent[number]),
            visits=int(measured.visits[number]),
            flagged=flagged[number],
            measured_at=at,
        )
        for number in np.flatnonzero(measured.visits).tolist()
    ]


def _hundredths(percent: float) -> int | None:
    return round(float(percent) * HUNDREDTHS) if np.isfinite(percent) else None


def _taken_out(row: MeterEffect) -> float | None:
    if not row.flagged or row.effect is None:
        return None
    return round(row.effect / HUNDREDTHS * TENTHS) / TENTHS
