"""Stage imbalance, and how well it is known: what one meter and one coil temperature share cancels in it."""

from typing import NamedTuple

import numpy as np

from calc.arrays import Bools, Floats, Ints, anywhere, everywhere
from calc.budget import HEATING_WHILE_ON_K_PER_S, STEP_REPEATABILITY_PERCENT, late_conductance, per_kelvin
from calc.columns import Conditions
from calc.increments import STAGE_SHIFT, StageRows
from calc.meters import MeterFigures
from calc.pooling import Pooled
from calc.stages import StageResults
from calc.uncertainty import (
    NORMAL_COVERAGE_FACTOR,
    combined_u,
    coverage_factor,
    rectangular_u,
    resolution_u,
)


class Imbalance(NamedTuple):
    """Per inspection, NaN where not every stage is known. [%]"""

    percent: Floats
    expanded_uncertainty_percent: Floats


class _States(NamedTuple):
    """What was read in each state of the box, and what one siemens more of it does to the ratio."""

    visit: Ints
    weight: Floats
    current_a: Floats
    supply_voltage_v: Floats
    conductance_s: Floats
    u_scatter_s: Floats
    scatter_degrees: Floats
    u_step_s: Floats


def imbalance(conditions: Conditions, stages: StageResults, mean_level: Floats, complete: Bools) -> Imbalance:
    """Return the largest deviation from the mean of the stages over the mean, and its expanded uncertainty.

    Parameters
    ----------
    conditions, stages : Conditions, StageResults
        One row per inspection, and one per stage read.
    mean_level : ndarray, shape (inspections,)
        Mean of the stages' levels.
    complete : ndarray of bool
        Whether every stage of the unit is known.

    Notes
    -----
    It is a ratio of conductances read with one clamp, one voltmeter and coils of one temperature: percent terms, coil
    temperature, coefficient and reference cancel.  What is left are the counts of each reading, its scatter, and what
    a step repeats to.  A reading that is one stage's own and the next one's before enters both with its sign.

    References
    ----------
    NEMA MG-1 on unbalance; GUM (JCGM 100:2008) 5.2.2 for correlated readings.
    """
    deviation = np.abs(stages.level - mean_level[stages.rows.inspection])
    largest = np.zeros(mean_level.shape)
    np.fmax.at(largest, stages.rows.inspection, deviation)
    percent = np.where(complete & (mean_level > 0), 100 * largest / mean_level, np.nan)
    if everywhere(np.isnan(percent)):
        return Imbalance(percent, percent)
    sensitivity = _sensitivity(conditions, stages, mean_level, deviation == largest[stages.rows.inspection])
    expanded = _expanded_uncertainty(conditions, stages, sensitivity)
    return Imbalance(percent, np.where(np.isnan(percent), np.nan, 100 * expanded))


def _sensitivity(conditions: Conditions, stages: StageResults, mean_level: Floats, is_largest: Bools) -> Floats:
    """Return, per stage row, what one siemens more does to the ratio of the worst stage to the mean."""
    visit = stages.rows.inspection
    candidates = np.flatnonzero(is_largest)
    of_visit = visit[candidates]
    # Of stages equally far off, the first of the visit.
    is_first = np.ones(candidates.shape, dtype=np.bool_)
    is_first[1:] = of_visit[1:] != of_visit[:-1]
    worst, worst_of = candidates[is_first], of_visit[is_first]
    ratio, own = np.zeros(mean_level.shape), np.zeros(visit.shape)
    ratio[worst_of] = stages.level[worst] / mean_level[worst_of]
    own[worst] = 1.0
    level_per_siemens = stages.amps_per_siemens / stages.rated_a
    sensitivity: Floats = (own - (ratio / conditions.stages)[visit]) / mean_level[visit] * level_per_siemens
    return sensitivity


def _expanded_uncertainty(conditions: Conditions, stages: StageResults, sensitivity: Floats) -> Floats:
    size = conditions.stages.size
    states = _states(stages.rows, sensitivity)
    variance = _meter_variance(conditions, states)
    if (shared := _shared_terms(conditions, stages, sensitivity)) is not None:
        variance = variance + combined_u(shared) ** 2
    if not anywhere(states.u_scatter_s):
        once: Floats = NORMAL_COVERAGE_FACTOR * np.sqrt(variance)
        return once
    scatter = (states.weight * states.u_scatter_s) ** 2
    variance = variance + np.bincount(states.visit, scatter, size)
    degrees = variance * variance / np.bincount(states.visit, scatter * scatter / states.scatter_degrees, size)
    expanded: Floats = coverage_factor(np.where(variance > 0, degrees, np.inf)) * np.sqrt(variance)
    return expanded


def _states(rows: StageRows, sensitivity: Floats) -> _States:
    if not rows.has_steps:
        return _States(rows.inspection, sensitivity, *_figures(rows.own, rows.before.u_scatter_s))
    share = np.where(rows.is_step, rectangular_u(STEP_REPEATABILITY_PERCENT / 100), 0.0)
    step = np.flatnonzero(rows.is_step)
    state = (rows.inspection << STAGE_SHIFT) | (rows.own.key & 0xFF)
    before = state[step] & ~(np.int64(1) << rows.stage[step])
    keys, first, place = np.unique(np.concatenate([before, state]), return_index=True, return_inverse=True)
    weight = np.bincount(place, np.concatenate([-sensitivity[step], sensitivity])).astype(np.float64)
    columns = zip(_figures(rows.own, share), _figures(rows.before, share), strict=True)
    # A state that is before a step repeats to no better than the step does, also where it judges its stage alone.
    merged: list[Floats] = [np.concatenate([other[step], own])[first] for own, other in columns]
    return _States(keys >> STAGE_SHIFT, weight, *merged)


def _figures(read: Pooled, step_share: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
    degrees = np.maximum(read.count - 1, 1)
    u_step_s = np.abs(read.conductance_s) * step_share
    return read.current_a, read.supply_voltage_v, read.conductance_s, read.u_scatter_s, degrees, u_step_s


def _meter_variance(conditions: Conditions, states: _States) -> Floats:
    size, conductance_s = conditions.stages.size, np.abs(states.conductance_s)
    amps = conditions.ammeter.at(states.visit, states.current_a)
    volts = conditions.voltmeter.at(states.visit, states.supply_voltage_v)
    per_volt = 1 / states.supply_voltage_v
    amps_s = rectangular_u(amps.counts_half_width * per_volt)
    volts_s = rectangular_u(volts.counts_half_width * conductance_s * per_volt)
    alone_s2 = amps_s * amps_s + volts_s * volts_s + states.u_step_s * states.u_step_s
    alone = np.bincount(states.visit, states.weight * states.weight * alone_s2, size).astype(np.float64)
    for figures in (amps, volts):
        if figures.range_index is not None:
            alone = alone + _gain_variance(figures, figures.range_index, states, size)
    return alone


def _gain_variance(figures: MeterFigures, range_index: Ints, states: _States, size: int) -> Floats:
    """Return what the percent terms of a meter's ranges leave: within one range they cancel in the ratio."""
    keys, place = np.unique((states.visit << STAGE_SHIFT) | range_index, return_inverse=True)
    gain = rectangular_u(figures.accuracy_percent / 100)
    by_range = np.bincount(place, states.weight * states.conductance_s * gain)
    return np.bincount(keys >> STAGE_SHIFT, by_range * by_range, size).astype(np.float64)


def _shared_terms(conditions: Conditions, stages: StageResults, sensitivity: Floats) -> Floats | None:
    """Return what every reading has in common and yet does not cancel: rest current and warming while on; else None."""
    rows, rest, size = stages.rows, stages.rest, conditions.stages.size
    if not any(map(anywhere, (rest.measured_a, rest.declared_bound_a, rows.own.late_s, rows.before.late_s))):
        return None
    per_volt = 1 / rows.own.supply_voltage_v - 1 / rows.before.supply_voltage_v
    amps = np.abs(np.bincount(rows.inspection, sensitivity * per_volt, size))
    resolution_a = conditions.ammeter.at(np.arange(size), rest.measured_a).resolution
    rest_u_a = np.where(rest.measured_a != 0, resolution_u(resolution_a), 0.0)
    warming = np.abs(np.bincount(rows.inspection, sensitivity * late_conductance(rows), size)) * per_kelvin(
        conditions.coil_temperature_c
    )
    # A declared load was not read, so the clamp's percent term on what it takes away finds nothing to cancel with.
    declared_a = rest.subtracted_a - rest.measured_a
    gain = rectangular_u(conditions.ammeter.at(np.arange(size), declared_a).accuracy_percent / 100)
    return np.array(
        [
            amps * rest_u_a,
            amps * declared_a * gain,
            amps * rectangular_u(rest.declared_bound_a),
            rectangular_u(warming * HEATING_WHILE_ON_K_PER_S),
        ]
    )
