"""Every stage of every inspection judged at once."""

from typing import NamedTuple

import numpy as np

from calc.arrays import Bools, Floats, Ints, anywhere
from calc.budget import Budget, budget_of
from calc.columns import MAX_FALSE_ACCEPT, Columns, Conditions
from calc.conformity import (
    UNDETERMINED,
    agree_with_probability,
    capability,
    classify,
    conformance_probability,
    guard_band,
    largest_rectangle,
)
from calc.copper import resistance_growth
from calc.errors import RELATIVE_SLACK
from calc.increments import StageRows, stage_rows
from calc.pooling import reading_conductances
from calc.rest import Rest, settle_rest

REASONS = (
    "",
    "tolerance_unknown",
    "reference_voltage_unknown",
    "type_not_identified",
    "step_without_predecessor",
    "no_voltage",
    "over_range",
    "electronic_drive",
)
(
    DETERMINED,
    TOLERANCE_UNKNOWN,
    REFERENCE_VOLTAGE_UNKNOWN,
    TYPE_NOT_IDENTIFIED,
    STEP_WITHOUT_PREDECESSOR,
    NO_VOLTAGE,
    OVER_RANGE,
    ELECTRONIC_DRIVE,
) = range(8)


class StageResults(NamedTuple):
    """Per stage row: the normalised current, what it is held against, and its verdict.

    Where no reference voltage is known, currents stand at 1 V: good for comparing stages, and answered to nobody.
    Where the type is not identified, levels stand at 1 A too, and are the stages' conductances. [S]
    """

    rows: StageRows
    rest: Rest
    budget: Budget
    amps_per_siemens: Floats
    rated_a: Floats
    normalised_current_a: Floats
    lower_limit_a: Floats
    upper_limit_a: Floats
    guard_band_a: Floats
    conformance_probability: Floats
    capability: Floats
    level: Floats
    verdict: Ints
    reason: Ints
    has_conductance: Bools


def judge_columns(columns: Columns) -> StageResults:
    """Return the judgement of every stage read.

    References
    ----------
    GUM (JCGM 100:2008); JCGM 106:2012; ILAC-G8:09/2019; IEC 60028:1925.
    """
    conditions, readings = columns.conditions, columns.readings
    rest = settle_rest(conditions, readings)
    # Readings without volts carry NaN from here on, and a NaN never reaches an answer.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore", under="ignore"):
        rows = stage_rows(readings, reading_conductances(conditions, readings, rest.subtracted_a))
        return _judge_rows(rows, conditions, rest)


def _judge_rows(rows: StageRows, conditions: Conditions, rest: Rest) -> StageResults:
    visit = rows.inspection
    amps_per_siemens = normalising_voltage_v(conditions)[visit]
    normalised_a = rows.added_s * amps_per_siemens
    budget = budget_of(rows, conditions, rest, amps_per_siemens=amps_per_siemens)
    on_file_a = conditions.rated_currents_a[visit, rows.stage]
    rated_a = np.where(np.isnan(on_file_a), 1.0, on_file_a)
    lower_a, upper_a = _limits(rated_a, conditions, visit)
    half_width, u_rest = largest_rectangle(budget.rectangles_a, budget.u_combined_a)
    false_accept = conditions.max_false_accept_probability[visit]
    guard = guard_band(conditions.rule[visit], budget.expanded_uncertainty_a, budget.u_combined_a, false_accept)
    probability = conformance_probability(normalised_a, u_rest, half_width, lower_a, upper_a)
    verdict = classify(normalised_a, lower_a, upper_a, guard, RELATIVE_SLACK * rated_a)
    if anywhere(asked := conditions.rule[visit] == MAX_FALSE_ACCEPT):
        verdict = agree_with_probability(verdict, probability, np.where(asked, false_accept, np.nan))
    reason = _reasons(rows, conditions, np.isnan(on_file_a))
    return StageResults(
        rows=rows,
        rest=rest,
        budget=budget,
        amps_per_siemens=amps_per_siemens,
        rated_a=rated_a,
        normalised_current_a=normalised_a,
        lower_limit_a=lower_a,
        upper_limit_a=upper_a,
        guard_band_a=guard,
        conformance_probability=probability,
        capability=capability(lower_a, upper_a, budget.expanded_uncertainty_a),
        level=normalised_a / rated_a,
        verdict=np.where(reason == DETERMINED, verdict, UNDETERMINED),
        reason=reason,
        has_conductance=reason <= TYPE_NOT_IDENTIFIED,
    )


def normalising_voltage_v(conditions: Conditions) -> Floats:
    """Return V_ref·R(T)/R(T_ref) per inspection, by which a conductance becomes a normalised current."""
    reference_v = np.where(reference_is_known(conditions), conditions.reference_voltage_v, 1.0)
    hot = resistance_growth(conditions.coil_temperature_c)
    voltage: Floats = reference_v * hot / resistance_growth(conditions.reference_temperature_c)
    return voltage


def reference_is_known(conditions: Conditions) -> Bools:
    """Return whether the rating says at what voltage its amps hold."""
    known: Bools = conditions.reference_voltage_v > 0
    return known


def _limits(rated_a: Floats, conditions: Conditions, visit: Ints) -> tuple[Floats, Floats]:
    below = conditions.tolerance_lower_percent[visit] / 100
    above = conditions.tolerance_upper_percent[visit] / 100
    # Where there is no tolerance the product is NaN, which gives way to no limit at all.
    return np.fmax(rated_a * (1 - below), -np.inf), np.fmin(rated_a * (1 + above), np.inf)


def _reasons(rows: StageRows, conditions: Conditions, not_identified: Bools) -> Ints:
    visit = rows.inspection
    no_tolerance = np.isnan(conditions.tolerance_lower_percent) & np.isnan(conditions.tolerance_upper_percent)
    reason = np.zeros(visit.shape, dtype=np.int64)
    reason[no_tolerance[visit]] = TOLERANCE_UNKNOWN
    reason[~reference_is_known(conditions)[visit]] = REFERENCE_VOLTAGE_UNKNOWN
    reason[not_identified] = TYPE_NOT_IDENTIFIED
    reason[rows.lacks_predecessor] = STEP_WITHOUT_PREDECESSOR
    reason[rows.own.no_voltage | rows.before.no_voltage] = NO_VOLTAGE
    reason[rows.own.over_range | rows.before.over_range] = OVER_RANGE
    reason[conditions.electronic_drive[visit]] = ELECTRONIC_DRIVE
    return reason
