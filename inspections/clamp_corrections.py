"""What is taken out of the levels that flagged clamps have read, from what the nights have measured of them."""

import numpy as np
from django.db.models import Q

from accounts.models import Organisation
from calc.arrays import Ints
from calc.trend import Corrections, MeterParts, in_tenths, parts_that_count, u_in_tenths
from calc.trend.packed import DAYS_PER_YEAR
from inspections.clamp_periods import period_key
from inspections.derived import HUNDREDTHS
from inspections.models import MeterEffect
from inspections.models.trends import WHOLE_PERIOD


def corrections_of(organisation: Organisation, clamps: Ints) -> Corrections | None:
    """Return what to take out of the levels that some clamps read, by their period keys; None where nothing.

    What a clamp read since a step counts from that day on, and only while the calibration it followed is the last one:
    a later calibration on file takes its place.  Of a step that no other clamp corroborates nothing is taken out, see
    `parts_that_count`.  The day is one of UTC, that of the look-back list the depot's: of a clamp in use every day the
    two may differ by the checks of one day.
    """
    place = {key: number for number, key in enumerate(clamps.tolist())}
    whole, steps = dict[int, MeterEffect](), list[tuple[int, int, MeterEffect]]()
    for row in MeterEffect.objects.of(organisation).filter(Q(flagged=True) | Q(since_day__gt=WHOLE_PERIOD)):
        number = place.get(period_key(row.meter_id, row.calibrated_day))
        if number is not None and row.is_part:
            steps.append((number, row.since_day, row))
        elif number is not None:
            whole[number] = row
    steps.sort(key=lambda step: step[:2])
    rows = [*(whole.get(number) for number in range(len(clamps))), *(row for _number, _day, row in steps)]
    effect = np.array([0.0 if row is None else taken_out(row) for row in rows])
    if not effect.any():
        return None
    parts = MeterParts(
        np.array([number for number, _day, _row in steps], np.int64),
        np.array([day for _number, day, _row in steps], np.float64) / DAYS_PER_YEAR,
    )
    counts = parts_that_count(
        parts,
        effect,
        np.array([row.corroborated for _number, _day, row in steps], bool),
        np.array([row.effect or 0 for _number, _day, row in steps]) / HUNDREDTHS,
    )
    chosen = np.concatenate([np.ones(len(clamps), bool), counts])
    u = np.array([0.0 if row is None else u_taken_out(row) for row in rows])
    return Corrections(effect[chosen], effect[chosen] != 0, parts.where(counts), u[chosen])


def taken_out(row: MeterEffect) -> float:
    """Return what a row takes out of the levels, 0 where nothing.  [%]"""
    if not row.flagged or row.effect is None:
        return 0.0
    return float(in_tenths(np.array(row.effect / HUNDREDTHS)))


def u_taken_out(row: MeterEffect) -> float:
    """Return the standard uncertainty that what a part takes out adds to the levels.  [%]"""
    if not row.is_part or not taken_out(row) or row.u_effect is None:
        return 0.0
    return float(u_in_tenths(np.array(row.u_effect / HUNDREDTHS)))
