"""What a series may have done, weighed against each other: gone straight, bent at a check, or stepped after one."""

from dataclasses import dataclass
from math import log

import numpy as np
from scipy.special import ndtr

from calc.arrays import Bools, Floats

# Judgement, not data: what a fault does before any reading says so.
FAULT_SLOPE_PERCENT_PER_YEAR, FAULT_SLOPE_SD = -3.0, 3.0
STEP_PERCENT, STEP_SD = -5.0, 2.5
HEALTHY_SLOPE_SD = 0.15
STRAIGHT_WEIGHT, STEP_WEIGHT = 0.15, 0.15
LEVEL_SD_PERCENT = 2.0
LEAST_READINGS = 3


@dataclass(frozen=True, slots=True)
class Posterior:
    """Shapes (models, series): level a and change b of each model, joint precision, weight, and where b acts later.

    A model's level so many years h after the last reading is a + b·(reach + h·grows).
    """

    level: Floats
    change: Floats
    level_precision: Floats
    cross_precision: Floats
    change_precision: Floats
    weight: Floats
    reach: Floats
    grows: Floats

    @property
    def step_weight(self) -> Floats:
        """Return how likely it is that the series stepped, shape (series,)."""
        stepped: Floats = np.sum(self.weight * (self.grows == 0), axis=0)
        return stepped

    @property
    def mean_change(self) -> Floats:
        """Return the change of all models, weighed; steps count with their size.  [%/year], [%]"""
        mean: Floats = np.sum(self.weight * self.change, axis=0)
        return mean

    def below(self, limit: Floats, ahead_years: Floats) -> Floats:
        """Return P(level < limit).

        Parameters
        ----------
        limit : ndarray, shape (series,) or (points, 1, series)
            Limit, as a deviation. [%]
        ahead_years : ndarray, shape (points, series)
            Time after the last reading. [year]
        """
        # What has stepped stays where it is, and need be asked only once.
        grows = self.grows[:, 0] > 0
        ahead = self._below(limit, ahead_years[:, None], grows)
        total: Floats = ahead + self._below(limit, np.zeros((1, 1, ahead_years.shape[-1])), ~grows)
        return total

    def _below(self, limit: Floats, ahead_years: Floats, models: Bools) -> Floats:
        """Return what some models contribute to P(level < limit), shape (points, series)."""
        level_precision, cross, change_precision = (
            each[models] for each in (self.level_precision, self.cross_precision, self.change_precision)
        )
        determinant = level_precision * change_precision - cross**2
        along = self.reach[models] + self.grows[models] * ahead_years
        variance = change_precision - 2 * along * cross + along * along * level_precision
        margin = (limit - self.level[models] - self.change[models] * along) / np.sqrt(variance / determinant)
        total: Floats = np.sum(self.weight[models] * ndtr(margin), axis=1)
        return total


def posterior_of(
    years: Floats,
    deviations: Floats,
    u_percent: Floats,
    *,
    fault_probability: float = 1.0,
    level_sd_percent: float = LEVEL_SD_PERCENT,
) -> Posterior:
    """Return the models of series of equal length, weighed by their readings.

    Parameters
    ----------
    years, deviations, u_percent : ndarray, shape (readings, series)
        Times, rising; levels less rated; their standard uncertainties; at least three readings. [year], [%], [%]
    fault_probability : float
        How likely a fault was before any reading, 0 to 1. [-]
    level_sd_percent : float
        Spread of the levels about rated before any reading. [%]

    Notes
    -----
    Each model is a normal linear regression with a normal prior, so that its evidence is known in closed form.

    References
    ----------
    A. Gelman et al., Bayesian Data Analysis (3rd ed.), chapters 7 and 14.

    Examples
    --------
    >>> years = np.arange(6.0)[:, None]
    >>> found = posterior_of(years, -3 * years, np.ones((6, 1)))
    >>> round(float(found.mean_change[0]), 1)
    -3.0
    """
    shapes, mean, sd, grows, log_prior = _models(years, fault_probability)
    precision = 1 / u_percent**2
    level_precision = 1 / level_sd_percent**2 + precision.sum(axis=0)
    cross = np.sum(precision * shapes, axis=1)
    change_precision = 1 / sd**2 + np.sum(precision * shapes**2, axis=1)
    pull = np.sum(precision * deviations, axis=0)
    change_pull = mean / sd**2 + np.sum(precision * shapes * deviations, axis=1)
    determinant = level_precision * change_precision - cross**2
    level = (change_precision * pull - cross * change_pull) / determinant
    change = (level_precision * change_pull - cross * pull) / determinant
    evidence = 0.5 * (level * pull + change * change_pull - mean**2 / sd**2 - np.log(determinant * sd**2)) + log_prior
    weight = np.exp(evidence - evidence.max(axis=0))
    weight /= weight.sum(axis=0)
    level_precision = np.broadcast_to(level_precision, level.shape)
    return Posterior(level, change, level_precision, cross, change_precision, weight, shapes[:, -1], grows)


def _models(years: Floats, fault_probability: float) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Return shapes (models, readings, series), then mean and sd of the change, growth and log prior, (models, 1)."""
    readings = len(years)
    straight = (years - years[0])[None]
    bends = np.maximum(years[None] - years[1:-1, None], 0.0)
    later = np.arange(readings) > np.arange(readings - 1)[:, None]
    steps = np.broadcast_to(later[:, :, None].astype(np.float64), (readings - 1, *years.shape))
    bend_weight = (1 - STRAIGHT_WEIGHT - STEP_WEIGHT) / len(bends)
    slope = (FAULT_SLOPE_PERCENT_PER_YEAR, FAULT_SLOPE_SD, 1.0)
    rows = [
        (*slope, log(fault_probability * STRAIGHT_WEIGHT)),
        *[(*slope, log(fault_probability * bend_weight))] * len(bends),
        *[(STEP_PERCENT, STEP_SD, 0.0, log(fault_probability * STEP_WEIGHT / len(steps)))] * len(steps),
    ]
    shapes = [straight, bends, steps]
    if fault_probability < 1:
        rows.append((0.0, HEALTHY_SLOPE_SD, 1.0, log(1 - fault_probability)))
        shapes.append(straight)
    mean, sd, grows, log_prior = np.array(rows).T[:, :, None]
    return np.concatenate(shapes), mean, sd, grows, log_prior
