"""The uncertainty budget of a normalised current: what each input contributes, in amps."""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Floats
from calc.columns import Conditions
from calc.copper import COEFFICIENT_TEMPERATURE_C, COPPER_TEMPERATURE_COEFFICIENT_PER_K, resistance_growth
from calc.increments import StageRows
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
    "step_repeatability",
    "repeatability",
)
# Ammeter and voltmeter stand as three rectangles each (common, own reading, reading before), a step's repeatability as
# two, scatter as two normal terms; the rest as one rectangle each.
_FIRST_OF_SOURCE = (0, 3, 6, 7, 8, 9, 11)
_RECTANGLES = 11
# Judgement, not data: spread from reading to reading of one state, as half-width in percent of its total.
STEP_REPEATABILITY_PERCENT = 0.3
# Judgement, not data: how well the coefficient of commercial winding copper is known, as half-width in percent.
TEMPERATURE_COEFFICIENT_BOUND_PERCENT = 1.0


@dataclass(frozen=True, slots=True)
class Budget:
    """Per stage row: combined and expanded uncertainty, and the contributions they are made of. [A]"""

    u_combined_a: Floats
    coverage_factor: Floats
    u_by_source_a: Floats
    rectangles_a: Floats

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

    References
    ----------
    GUM (JCGM 100:2008) 5.1.2, 5.2.2 and 4.3.7.
    """
    contributions = np.stack(
        [
            *_meter_terms(rows, conditions),
            *_temperature_terms(rows, conditions, temperature_coefficient_per_k),
            _rest_term(rows, conditions, rest),
            *_step_terms(rows),
            rows.own.u_scatter_s,
            rows.before.u_scatter_s,
        ]
    )
    contributions *= amps_per_siemens
    u_combined_a = combined_u(contributions)
    degrees = np.maximum(np.stack([rows.own.count, rows.before.count]) - 1, 1)
    nu = effective_degrees_of_freedom(contributions[_RECTANGLES:], degrees, u_combined_a)
    by_source = np.sqrt(np.add.reduceat(contributions * contributions, _FIRST_OF_SOURCE, axis=0))
    return Budget(u_combined_a, coverage_factor(nu), by_source, contributions[:_RECTANGLES])


def _meter_terms(rows: StageRows, conditions: Conditions) -> tuple[Floats, ...]:
    visit, own, before = rows.inspection, rows.own, rows.before
    ammeter, voltmeter = conditions.ammeter, conditions.voltmeter
    amps_counts, volts_counts = ammeter.counts_half_width[visit], voltmeter.counts_half_width[visit]
    apparent_s = own.current_a / own.supply_voltage_v - before.current_a / before.supply_voltage_v
    amps = _common_own_before(
        apparent_s,
        ammeter.accuracy_percent[visit],
        amps_counts / own.supply_voltage_v,
        amps_counts / before.supply_voltage_v,
        rows,
    )
    volts = _common_own_before(
        own.conductance_s - before.conductance_s,
        voltmeter.accuracy_percent[visit],
        volts_counts * np.abs(own.conductance_s) / own.supply_voltage_v,
        volts_counts * np.abs(before.conductance_s) / before.supply_voltage_v,
        rows,
    )
    return (*amps, *volts)


def _common_own_before(
    difference_s: Floats, accuracy_percent: Floats, own_counts_s: Floats, before_counts_s: Floats, rows: StageRows
) -> tuple[Floats, Floats, Floats]:
    shared_counts_s = np.where(rows.is_step, 0.0, own_counts_s)
    common = rectangular_u(meter_half_width(difference_s, accuracy_percent, shared_counts_s))
    own = rectangular_u(own_counts_s - shared_counts_s)
    return common, own, rectangular_u(before_counts_s)


def _temperature_terms(
    rows: StageRows, conditions: Conditions, temperature_coefficient_per_k: float
) -> tuple[Floats, Floats]:
    visit = rows.inspection
    difference_s = np.abs(rows.own.conductance_s - rows.before.conductance_s)
    coil_k = conditions.coil_temperature_c[visit] - COEFFICIENT_TEMPERATURE_C
    reference_k = conditions.reference_temperature_c[visit] - COEFFICIENT_TEMPERATURE_C
    alpha = temperature_coefficient_per_k
    coil_growth = resistance_growth(conditions.coil_temperature_c[visit], alpha)
    reference_growth = resistance_growth(conditions.reference_temperature_c[visit], alpha)
    per_kelvin = alpha / coil_growth
    per_coefficient = np.abs(coil_k / coil_growth - reference_k / reference_growth)
    alpha_half_width = alpha * TEMPERATURE_COEFFICIENT_BOUND_PERCENT / 100
    temperature = rectangular_u(difference_s * per_kelvin * conditions.coil_temperature_bound_c[visit])
    coefficient = rectangular_u(difference_s * per_coefficient * alpha_half_width)
    return temperature, coefficient


def _rest_term(rows: StageRows, conditions: Conditions, rest: Rest) -> Floats:
    # The counts term covers the meter's zero already; only the resolution of a second, subtracted reading is new.
    added_a = np.where(rest.subtracted_a != 0, resolution_u(conditions.ammeter.resolution), 0.0)
    per_volt = np.abs(1 / rows.own.supply_voltage_v - 1 / rows.before.supply_voltage_v)
    term: Floats = added_a[rows.inspection] * per_volt
    return term


def _step_terms(rows: StageRows) -> tuple[Floats, Floats]:
    share = np.where(rows.is_step, STEP_REPEATABILITY_PERCENT / 100, 0.0)
    own = rectangular_u(share * np.abs(rows.own.conductance_s))
    return own, rectangular_u(share * np.abs(rows.before.conductance_s))
