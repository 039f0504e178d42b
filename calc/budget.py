"""The uncertainty budget of a normalised current: what each input contributes, in amps."""

from itertools import chain
from typing import NamedTuple

import numpy as np

from calc.arrays import Bools, Floats, Ints, anywhere
from calc.columns import Conditions
from calc.copper import COEFFICIENT_TEMPERATURE_C, COPPER_TEMPERATURE_COEFFICIENT_PER_K, resistance_growth
from calc.increments import StageRows
from calc.meters import MeterFigures, crosses
from calc.pooling import Pooled
from calc.rest import Rest
from calc.uncertainty import (
    combined_u,
    coverage_factor,
    effective_degrees_of_freedom,
    meter_half_width,
    rectangular_u,
    resolution_u,
)

SOURCES = (
    "ammeter",
    "voltmeter",
    "coil_temperature",
    "temperature_coefficient",
    "rest_current",
    "heating_while_on",
    "reference_temperature",
    "auxiliary_loads",
    "step_repeatability",
    "repeatability",
)
# Ammeter and voltmeter stand as three rectangles each (common, own reading, reading before), a step's repeatability as
# two, scatter as two normal terms; the rest as one rectangle each.
_FIRST_OF_SOURCE = (0, 3, 6, 7, 8, 9, 10, 11, 12, 14)
_RECTANGLES = 14
# Judgement, not data: spread from reading to reading of one state, as half-width in percent of its total.
STEP_REPEATABILITY_PERCENT = 0.3
# Judgement, not data: how well the coefficient of commercial winding copper is known, as half-width in percent.
TEMPERATURE_COEFFICIENT_BOUND_PERCENT = 1.0
# Derived: ρJ²/(c_p·density) of a copper wire that loses no heat, at 6.5 A/mm², the fullest loading thought of.
HEATING_WHILE_ON_K_PER_S = 0.21


class Budget(NamedTuple):
    """Per stage row: combined and expanded uncertainty, and the contributions they are made of. [A]"""

    u_combined_a: Floats
    coverage_factor: Floats
    u_by_source_a: Floats
    rectangles_a: Floats
    u_scatter_a: Floats
    scatter_degrees: Floats

    @property
    def expanded_uncertainty_a(self) -> Floats:
        """Return U = k·u."""
        return self.coverage_factor * self.u_combined_a


def budget_of(
    rows: StageRows,
    conditions: Conditions,
    rest: Rest,
    *,
    amps_per_siemens: Floats,
    temperature_coefficient_per_k: float = COPPER_TEMPERATURE_COEFFICIENT_PER_K,
) -> Budget:
    """Return the budget of y = V_ref·ratio·(G_own − G_before) for every stage row.

    Parameters
    ----------
    rows : StageRows
        What judges each stage.
    conditions, rest : Conditions, Rest
        Meters, coil temperature and rest current per inspection.
    amps_per_siemens : ndarray, shape (rows,)
        V_ref·ratio, by which a conductance becomes a normalised current. [V]
    temperature_coefficient_per_k : float
        Temperature coefficient of resistance at 20 °C. [1/K]

    Notes
    -----
    One clamp and one voltmeter read both states of a step: their percent terms act on the difference, their counts on
    each reading separately.  A single reading has one rectangle per meter.  Averaging repeats shrinks the scatter only.
    A stage that was on for longer than ten seconds may have warmed by up to 0.21 K in each further second: that widens
    the result and never moves it.

    References
    ----------
    GUM (JCGM 100:2008) 5.1.2, 5.2.2 and 4.3.7.
    """
    contributions = np.array(
        [
            *_meter_terms(rows, conditions),
            *_temperature_terms(rows, conditions, temperature_coefficient_per_k),
            _rest_term(rows, conditions, rest),
            _heating_term(rows, conditions),
            _reference_temperature_term(rows, conditions),
            _auxiliary_term(rows, rest),
            *_step_terms(rows),
            rows.own.u_scatter_s,
            rows.before.u_scatter_s,
        ]
    )
    contributions *= amps_per_siemens
    u_combined_a = combined_u(contributions)
    degrees = np.maximum(np.array([rows.own.count, rows.before.count]) - 1, 1)
    nu = effective_degrees_of_freedom(contributions[_RECTANGLES:], degrees, u_combined_a)
    by_source = np.sqrt(np.add.reduceat(contributions * contributions, _FIRST_OF_SOURCE, axis=0))
    return Budget(
        u_combined_a,
        coverage_factor(nu),
        by_source,
        contributions[:_RECTANGLES],
        contributions[_RECTANGLES:],
        degrees,
    )


class _Influence(NamedTuple):
    """How a meter acts on the conductance read in one state: what its percent term scales, and what a unit is worth."""

    scaled_s: Floats
    per_unit: Floats
    figures: MeterFigures

    @property
    def counts_s(self) -> Floats:
        counts: Floats = self.figures.counts_half_width * self.per_unit
        return counts


def _meter_terms(rows: StageRows, conditions: Conditions) -> tuple[Floats, ...]:
    own = _influences(rows.own, rows.inspection, conditions)
    if not rows.has_steps:
        nothing = rows.before.u_scatter_s
        terms = ((rectangular_u(meter_half_width(*_percent_and_counts(each))), nothing, nothing) for each in own)
        return tuple(chain.from_iterable(terms))
    before = _influences(rows.before, rows.inspection, conditions)
    pairs = zip(own, before, strict=True)
    return tuple(chain.from_iterable(_common_own_before(*pair, rows.is_step) for pair in pairs))


def _influences(read: Pooled, visit: Ints, conditions: Conditions) -> tuple[_Influence, _Influence]:
    """Return how the ammeter and how the voltmeter act on what was read."""
    volts, conductance_s = read.supply_voltage_v, read.conductance_s
    return (
        _Influence(read.current_a / volts, 1 / volts, conditions.ammeter.at(visit, read.current_a)),
        _Influence(conductance_s, np.abs(conductance_s) / volts, conditions.voltmeter.at(visit, volts)),
    )


def _percent_and_counts(own: _Influence) -> tuple[Floats, Floats, Floats]:
    return own.scaled_s, own.figures.accuracy_percent, own.counts_s


def _common_own_before(own: _Influence, before: _Influence, is_step: Bools) -> tuple[Floats, Floats, Floats]:
    """Return what both readings of a step share, and what each has alone; a stage read alone has but the first."""
    own_counts_s, before_counts_s = own.counts_s, before.counts_s
    shared_counts_s = np.where(is_step, 0.0, own_counts_s)
    difference_s, own_alone_s = own.scaled_s - before.scaled_s, own_counts_s - shared_counts_s
    if (crossing := crosses(own.figures, before.figures)) is not None:
        # Two ranges of one meter are adjusted apart: their percent terms do not cancel in a difference.
        apart = is_step & crossing
        difference_s = np.where(apart, 0.0, difference_s)
        own_alone_s = own_alone_s + np.where(apart, np.abs(own.scaled_s) * own.figures.accuracy_percent / 100, 0.0)
        before_counts_s = before_counts_s + np.where(
            apart, np.abs(before.scaled_s) * before.figures.accuracy_percent / 100, 0.0
        )
    common = rectangular_u(meter_half_width(difference_s, own.figures.accuracy_percent, shared_counts_s))
    return common, rectangular_u(own_alone_s), rectangular_u(before_counts_s)


def _temperature_terms(
    rows: StageRows, conditions: Conditions, temperature_coefficient_per_k: float
) -> tuple[Floats, Floats]:
    visit, added_s, alpha = rows.inspection, np.abs(rows.added_s), temperature_coefficient_per_k
    coil_c, reference_c = conditions.coil_temperature_c, conditions.reference_temperature_c
    coil_growth, reference_growth = resistance_growth(coil_c, alpha), resistance_growth(reference_c, alpha)
    coil_k, reference_k = coil_c - COEFFICIENT_TEMPERATURE_C, reference_c - COEFFICIENT_TEMPERATURE_C
    per_coefficient = np.abs(coil_k / coil_growth - reference_k / reference_growth)
    alpha_half_width = alpha * TEMPERATURE_COEFFICIENT_BOUND_PERCENT / 100
    temperature = rectangular_u(added_s * (alpha / coil_growth)[visit] * conditions.coil_temperature_bound_c[visit])
    return temperature, rectangular_u(added_s * per_coefficient[visit] * alpha_half_width)


def _rest_term(rows: StageRows, conditions: Conditions, rest: Rest) -> Floats:
    # The counts term covers the meter's zero already; only the resolution of a second, subtracted reading is new.
    if not anywhere(rest.measured_a):
        return rest.measured_a[rows.inspection]
    visits = np.arange(rest.measured_a.size)
    resolution_a = conditions.ammeter.at(visits, rest.measured_a).resolution
    added_a = np.where(rest.measured_a != 0, resolution_u(resolution_a), 0.0)
    term: Floats = added_a[rows.inspection] * _per_volt(rows)
    return term


def _heating_term(rows: StageRows, conditions: Conditions) -> Floats:
    if not (anywhere(rows.own.late_s) or anywhere(rows.before.late_s)):
        return rows.own.late_s
    warmer = per_kelvin(conditions.coil_temperature_c)[rows.inspection] * HEATING_WHILE_ON_K_PER_S
    return rectangular_u(np.abs(late_conductance(rows)) * warmer)


def late_conductance(rows: StageRows) -> Floats:
    """Return what is on times how late it was read, own reading less reading before. [S·s]

    All coils that are on warm alike while the last stage is waited for, at one rate that is not known.
    """
    late: Floats = rows.own.conductance_s * rows.own.late_s - rows.before.conductance_s * rows.before.late_s
    return late


def _reference_temperature_term(rows: StageRows, conditions: Conditions) -> Floats:
    bound_c = conditions.reference_temperature_bound_c
    if not anywhere(bound_c):
        return bound_c[rows.inspection]
    relative = per_kelvin(conditions.reference_temperature_c) * bound_c
    return rectangular_u(np.abs(rows.added_s) * relative[rows.inspection])


def _auxiliary_term(rows: StageRows, rest: Rest) -> Floats:
    if not anywhere(rest.declared_bound_a):
        return rest.declared_bound_a[rows.inspection]
    return rectangular_u(rest.declared_bound_a[rows.inspection] * _per_volt(rows))


def _per_volt(rows: StageRows) -> Floats:
    difference: Floats = np.abs(1 / rows.own.supply_voltage_v - 1 / rows.before.supply_voltage_v)
    return difference


def per_kelvin(temperature_c: Floats) -> Floats:
    """Return by what share the resistance of copper grows with one more kelvin.

    Examples
    --------
    >>> round(float(per_kelvin(np.array([65.0]))[0]), 5)
    0.00334
    """
    share: Floats = COPPER_TEMPERATURE_COEFFICIENT_PER_K / resistance_growth(temperature_c)
    return share


def _step_terms(rows: StageRows) -> tuple[Floats, Floats]:
    if not rows.has_steps:
        return rows.before.u_scatter_s, rows.before.u_scatter_s
    share = np.where(rows.is_step, STEP_REPEATABILITY_PERCENT / 100, 0.0)
    own = rectangular_u(share * np.abs(rows.own.conductance_s))
    return own, rectangular_u(share * np.abs(rows.before.conductance_s))
