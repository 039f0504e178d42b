"""Measure the clamps of an organisation against each other, and against what they read themselves before.

The whole fleet is read range by range and only its equations are kept; what a clamp reads low or high is taken out of
the levels from then on, and the units it has read go on the night's list.  Where a clamp begins to read otherwise with
no calibration on file about it, what it read since is told apart; only where other clamps corroborate that it is the
clamp is anything taken out.  Effects are a function of the evidence and of the steps on file, which less evidence keeps
than raises: a night that runs twice changes nothing.
"""

import datetime as dt
from collections.abc import Iterable

import numpy as np
from django.utils import timezone

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from calc.arrays import Ints
from calc.trend import FoundSteps, MeterParts, SteppedEffects, stepped_effects
from calc.trend.packed import DAYS_PER_YEAR
from inspections.clamp_corrections import taken_out, u_taken_out
from inspections.clamp_periods import period_key, period_of
from inspections.derived import HUNDREDTHS
from inspections.models import Inspection, Meter, MeterEffect, TrendNews
from inspections.models.trends import WHOLE_PERIOD
from inspections.services.meter_evidence import KeysMoved, period_keys, visits_of_all
from inspections.services.meter_spool import VisitSpool
from inspections.services.trend_news import note_news
from schedules.queries import installations_in_service

MEASURED_EVERY = dt.timedelta(days=7)
# A fleet of this size is measured within seconds, whenever there is news.
SMALL_FLEET = 2_000
# Calibrations are filed a few a day, and the largest fleet is read within minutes.
ATTEMPTS = 3


def refresh_meter_effects(organisation: Organisation) -> None:
    """Measure the clamps anew where that is due, and put on the list what other corrections change.

    Raises KeysMoved where calibrations were filed each time that the visits were read.
    """
    with organisation_transaction(organisation):
        if not _is_due(organisation):
            return
    for _ in range(ATTEMPTS):
        try:
            _measure(organisation)
        except KeysMoved:
            continue
        return
    raise KeysMoved


def _measure(organisation: Organisation) -> None:
    with organisation_transaction(organisation):
        keys = period_keys(organisation)
        on_file = _steps_on_file(organisation, keys)
    with VisitSpool(lambda: visits_of_all(organisation, keys)) as visits:
        measured = stepped_effects(visits, len(keys), on_file)
    with organisation_transaction(organisation):
        _hold_clamps(organisation)
        if not np.array_equal(keys, period_keys(organisation)):
            raise KeysMoved
        _store(organisation, keys, measured)


def _hold_clamps(organisation: Organisation) -> None:
    """Let no other night store, and nobody file a calibration, until the transaction ends."""
    clamps = Meter.objects.of(organisation).filter(kind="ammeter").order_by("pk").select_for_update(no_key=True)
    list(clamps.values_list("pk", flat=True))


def _steps_on_file(organisation: Organisation, keys: Ints) -> FoundSteps:
    rows = MeterEffect.objects.of(organisation).filter(since_day__gt=WHOLE_PERIOD)
    keyed = [(period_key(row.meter_id, row.calibrated_day), row.since_day, row) for row in rows]
    known = sorted((each for each in keyed if each[0] in keys), key=lambda each: each[:2])
    return FoundSteps.filed(
        MeterParts(
            np.searchsorted(keys, np.array([key for key, _day, _row in known], np.int64)),
            np.array([day for _key, day, _row in known], np.float64) / DAYS_PER_YEAR,
        ),
        np.array([row.corroborated for _key, _day, row in known], bool),
        np.array([row.flagged for _key, _day, row in known], bool),
    )


def _is_due(organisation: Organisation) -> bool:
    if not TrendNews.objects.of(organisation).exists():
        return False
    last = MeterEffect.objects.of(organisation).order_by("-measured_at").first()
    if last is None or last.measured_at < timezone.now() - MEASURED_EVERY:
        return True
    return installations_in_service(organisation)[: SMALL_FLEET + 1].count() <= SMALL_FLEET


def _store(organisation: Organisation, keys: Ints, measured: SteppedEffects) -> None:
    """Put what was measured in place of all that is on file; the clamps are held."""
    on_file = MeterEffect.objects.of(organisation)
    before = _taken_out_now(on_file)
    rows = _rows(organisation, keys, measured)
    on_file.delete()
    MeterEffect.objects.bulk_create(rows)
    changed = {meter for meter, *_rest in before ^ _taken_out_now(rows)}
    if changed:
        read = Inspection.objects.of(organisation).filter(ammeter__in=changed)
        note_news(organisation.pk, read.values_list("installation__retarder", flat=True).distinct())


def _taken_out_now(rows: Iterable[MeterEffect]) -> set[tuple[int, int, int, float, float]]:
    """Return what is taken out of what; a part that takes out nothing may end what is taken out before it."""
    return {
        (row.meter_id, row.calibrated_day, row.since_day, taken_out(row), u_taken_out(row))
        for row in rows
        if row.flagged or row.is_part
    }


def _rows(organisation: Organisation, keys: Ints, measured: SteppedEffects) -> list[MeterEffect]:
    effects, parts = measured.effects, measured.parts
    clamps, days = (each[np.concatenate([np.arange(len(keys)), parts.meter])].tolist() for each in period_of(keys))
    since = [*[WHOLE_PERIOD] * len(keys), *np.round(parts.since_years * DAYS_PER_YEAR).astype(int).tolist()]
    flagged = measured.flagged.tolist()
    corroborated = [*[True] * len(keys), *measured.steps.corroborated.tolist()]
    # Of a doubt, how much more was read than before: beside other clamps it has no meaning.
    doubt = ~np.array(corroborated)
    steps = (np.concatenate([np.zeros(len(keys)), each]) for each in (measured.step_percent, measured.u_step_percent))
    effect, u_effect = (
        np.where(doubt, step, of_all)
        for step, of_all in zip(steps, (effects.effect_percent, effects.u_percent), strict=True)
    )
    at = timezone.now()
    return [
        MeterEffect(
            organisation=organisation,
            meter_id=clamps[number],
            calibrated_day=days[number],
            since_day=since[number],
            effect=_hundredths(effect[number]),
            u_effect=_hundredths(u_effect[number]),
            visits=int(effects.visits[number]),
            flagged=flagged[number],
            corroborated=corroborated[number],
            measured_at=at,
        )
        for number in np.flatnonzero(effects.visits).tolist()
    ]


def _hundredths(percent: float) -> int | None:
    return round(float(percent) * HUNDREDTHS) if np.isfinite(percent) else None
