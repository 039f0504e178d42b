"""What the stages say together: imbalance, torque share, and whether the healthy circuit explains them."""

from math import log
from typing import NamedTuple

import numpy as np
from scipy.special import expit, ndtr

from calc.arrays import Bools, Floats, everywhere
from calc.columns import Columns, Conditions
from calc.copper import resistance_growth
from calc.imbalance import Imbalance, imbalance
from calc.stages import StageResults, reference_is_known

HOT_COIL_C = 150.0
PRIOR_HEALTHY = 0.9
LOG_PRIOR_ODDS = log(PRIOR_HEALTHY / (1 - PRIOR_HEALTHY))
# Judgement, not data: spread of healthy stages about their rated current, as a standard deviation of the level.
HEALTHY_SPREAD = 0.03
BROADEST_LEVEL = 2.0
_LEAST_DENSITY = 1e-300


class UnitResults(NamedTuple):
    """Per inspection; NaN where the readings do not answer.

    Rows of `torque_percent`: cold at exponent 2 and 1, at 150 °C at exponent 2 and 1.
    """

    imbalance: Imbalance
    torque_percent: Floats
    healthy_probability: Floats


def unit_results(columns: Columns, stages: StageResults) -> UnitResults:
    """Return imbalance, torque share and the healthy circuit's probability of every inspection."""
    conditions = columns.conditions
    visits = conditions.stages.size
    usable = np.bincount(stages.rows.inspection, stages.has_conductance, visits).astype(np.float64)
    complete = (usable == conditions.stages) & (conditions.stages > 0)
    with np.errstate(invalid="ignore", divide="ignore", over="ignore", under="ignore"):
        mean_level = _mean_by_visit(stages, stages.level, visits, usable)
        out_of_balance = imbalance(conditions, stages, mean_level, complete)
        torque = _torque_percent(columns, stages, usable, complete)
        healthy = _healthy_probability(conditions, stages, mean_level, usable)
    return UnitResults(out_of_balance, torque, healthy)


def _mean_by_visit(stages: StageResults, values: Floats, visits: int, usable: Floats) -> Floats:
    counted = np.where(stages.has_conductance, values, 0.0)
    mean: Floats = np.bincount(stages.rows.inspection, counted, visits) / usable
    return mean


def _torque_percent(columns: Columns, stages: StageResults, usable: Floats, answered: Bools) -> Floats:
    """Return the mean over the stages of (I/I_rated)^n at the lowest box voltage read, n = 2 and 1, cold and hot.

    An unknown reference voltage is NaN here, and so is its torque share.
    """
    conditions, readings = columns.conditions, columns.readings
    visits = conditions.stages.size
    lowest_v = np.full(visits, np.inf)
    np.minimum.at(lowest_v, readings.inspection, readings.supply_voltage_v)
    per_level = lowest_v / conditions.reference_voltage_v
    share = np.maximum(stages.level, 0.0) * per_level[stages.rows.inspection]
    linear = np.where(answered, 100 * _mean_by_visit(stages, share, visits, usable), np.nan)
    square = np.where(answered, 100 * _mean_by_visit(stages, share * share, visits, usable), np.nan)
    cooling = resistance_growth(conditions.reference_temperature_c) / resistance_growth(HOT_COIL_C)
    return np.array([square, linear, square * cooling * cooling, linear * cooling])


def _healthy_probability(conditions: Conditions, stages: StageResults, mean_level: Floats, usable: Floats) -> Floats:
    """Return the posterior probability that nothing is wrong, against something of unknown size.

    Healthy levels lie about 1 with the reading's uncertainty and 3 % spread; anything else lies evenly over 0 … 2,
    blurred by the same uncertainty.  Without a reference voltage the mean level stands in for 1 and costs one degree
    of freedom.  Prior 0.9 : 0.1, judgement.
    """
    known = reference_is_known(conditions)
    level, u_level = stages.level, stages.budget.u_combined_a / stages.rated_a
    if everywhere(known):
        return _probability(_evidence(stages, level, u_level, known.size))
    scale = np.where(known, 1.0, mean_level)[stages.rows.inspection]
    evidence = _evidence(stages, level / scale, u_level / scale, known.size)
    freedom = np.where(known, 1.0, (usable - 1) / np.maximum(usable, 1))
    # Stages that all draw nothing have no mean to be compared with, and are not healthy.
    all_dead = ~known & (usable > 0) & ~(mean_level > 0)
    return np.where(all_dead, 0.0, _probability(evidence * np.maximum(freedom, 0.0)))


def _evidence(stages: StageResults, level: Floats, u_level: Floats, visits: int) -> Floats:
    """Return per inspection ln of how much more likely its stages' levels are of healthy ones."""
    log_ratio = np.where(stages.has_conductance, log_ratio_for_healthy(level, u_level), 0.0)
    return np.bincount(stages.rows.inspection, log_ratio, visits).astype(np.float64, copy=False)


def _probability(evidence: Floats) -> Floats:
    probability: Floats = expit(LOG_PRIOR_ODDS + np.where(np.isnan(evidence), 0.0, evidence))
    return probability


def log_ratio_for_healthy(level: Floats, u_level: Floats) -> Floats:
    """Return ln of how much more likely levels are of a healthy stage than of one about which nothing is known."""
    variance = u_level * u_level + HEALTHY_SPREAD * HEALTHY_SPREAD
    return _log_density_healthy(level, variance) - _log_density_otherwise(level, variance)


def _log_density_healthy(level: Floats, variance: Floats) -> Floats:
    density: Floats = -0.5 * ((level - 1) ** 2 / variance + np.log(2 * np.pi * variance))
    return density


def _log_density_otherwise(level: Floats, variance: Floats) -> Floats:
    blur = np.sqrt(variance)
    to_highest, to_zero = ndtr(np.array([(BROADEST_LEVEL - level) / blur, -level / blur]))
    density = (to_highest - to_zero) / BROADEST_LEVEL
    logarithm: Floats = np.log(np.maximum(density, _LEAST_DENSITY))
    return logarithm
