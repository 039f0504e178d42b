"""The robust local-linear-trend filter: level and slope of every channel after each check."""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Floats
from calc.trend.beginnings import first_levels
from calc.trend.settings import DETECTION, FIRST_DECISION_READING, FilterSettings


@dataclass(frozen=True, slots=True)
class Filtered:
    """What is known after each visit.

    Attributes
    ----------
    level, slope : ndarray, shape (visits, channels, installations)
        Estimates. [%], [%/year]
    level_variance, slope_variance : ndarray, shape (visits, channels, installations)
        Their variances. [%²], [%²/year²]
    z : ndarray, shape (visits, channels, installations)
        Slope over its standard deviation, sign reversed so that a loss is positive; NaN where the visit brought nothing
        new and before the fourth reading. [-]
    cleaned : ndarray, shape (visits, channels, installations)
        The reading with its innovation clipped, NaN where not read. [%]
    noise_factor : ndarray, shape (visits, installations)
        Factor on the variance of the noise. [-]
    """

    level: Floats
    slope: Floats
    level_variance: Floats
    slope_variance: Floats
    z: Floats
    cleaned: Floats
    noise_factor: Floats


class _State:
    """The filter between two visits: arrays of shape (channels, installations), of the noise (installations,)."""

    def __init__(self, shape: tuple[int, ...]) -> None:
        self.level, self.slope = np.zeros(shape), np.zeros(shape)
        self.level_variance, self.covariance, self.slope_variance = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        self.readings = np.zeros(shape, np.int64)
        self.noise_sum, self.noise_readings, self.noise_factor = np.zeros((3, shape[-1]))


def trend_filter(
    years: Floats,
    values: Floats,
    variances: Floats,
    prior_sd: Floats,
    restart: Bools | None = None,
    settings: FilterSettings = DETECTION,
    *,
    fleet_level_known: bool = False,
) -> Filtered:
    """Return level and slope of every channel after every visit.

    Parameters
    ----------
    years : ndarray, shape (visits, installations)
        Time of each visit, NaN after the last. [year]
    values, variances : ndarray, shape (visits, channels, installations)
        What was read, NaN where nothing was, and the variance of its noise. [%], [%²]
    prior_sd : ndarray, shape (channels,)
        Spread of the level before any reading. [%]
    restart : ndarray of bool, shape (visits, installations), optional
        Visits that begin a new baseline.
    settings : FilterSettings
        Constants.
    fleet_level_known : bool
        Whether every healthy unit lies about 0; otherwise each starts from its own first readings.

    Notes
    -----
    The state is level and slope, both random walks, the slope also moving the level (integrated random walk).  Clipped
    innovations keep one mistyped reading from raising an alarm; a noise factor per installation, shrunk to the fleet's,
    follows installations that scatter more.

    References
    ----------
    A. C. Harvey, Forecasting, Structural Time Series Models and the Kalman Filter (1989), local linear trend.

    Examples
    --------
    >>> years = np.arange(8.0)[:, None] / 4
    >>> falling = -6 * years[:, None]
    >>> found = trend_filter(years, falling, np.full((8, 1, 1), 1.0), np.array([2.0]))
    >>> bool(found.z[-1, 0, 0] > 2), bool(np.isnan(found.z[2, 0, 0]))
    (True, True)
    """
    starts = np.zeros(years.shape, bool) if restart is None else restart.copy()
    starts[:1] = True
    if fleet_level_known:
        centre, spread = np.zeros_like(values), np.broadcast_to(prior_sd[:, None] ** 2, values.shape)
    else:
        centre, spread = first_levels(values, variances, prior_sd, starts)
    state = _State(values.shape[1:])
    gaps = np.diff(years, axis=0, prepend=years[:1])
    gaps[np.isnan(gaps) | starts] = 0.0
    level, slope, level_variance, slope_variance = np.empty((4, *values.shape))
    z, cleaned = np.full(values.shape, np.nan), np.empty(values.shape)
    factor = np.ones(years.shape)
    for visit in range(len(years)):
        _begin(state, starts[visit], centre[visit], spread[visit], settings)
        _predict(state, gaps[visit], settings)
        new = ~np.isnan(values[visit])
        cleaned[visit] = _correct(state, values[visit], variances[visit], new, settings)
        level[visit], slope[visit] = state.level, state.slope
        level_variance[visit], slope_variance[visit] = state.level_variance, state.slope_variance
        decides = new & (state.readings >= FIRST_DECISION_READING)
        np.divide(-state.slope, np.sqrt(state.slope_variance), out=z[visit], where=decides)
        factor[visit] = state.noise_factor
    return Filtered(level, slope, level_variance, slope_variance, z, cleaned, factor)


def _begin(state: _State, starts: Bools, centre: Floats, spread: Floats, settings: FilterSettings) -> None:
    if not starts.any():
        return
    state.level[:, starts] = centre[:, starts]
    state.slope[:, starts] = 0.0
    state.level_variance[:, starts] = spread[:, starts]
    state.covariance[:, starts] = 0.0
    state.slope_variance[:, starts] = settings.first_slope_sd**2
    state.readings[:, starts] = 0
    state.noise_sum[starts] = 0.0
    state.noise_readings[starts] = 0.0
    state.noise_factor[starts] = 1.0


def _predict(state: _State, gap: Floats, settings: FilterSettings) -> None:
    # Before its first reading a channel does not drift: the fleet's spread holds for whenever that reading comes.
    if not (state.readings > 0).all():
        gap = np.where(state.readings > 0, gap, 0.0)
    slope_walk = settings.slope_walk**2 * gap
    state.level += gap * state.slope
    state.level_variance += gap * (2 * state.covariance + gap * (state.slope_variance + slope_walk / 3))
    state.level_variance += settings.level_walk**2 * gap
    state.covariance += gap * (state.slope_variance + slope_walk / 2)
    state.slope_variance += slope_walk


def _correct(state: _State, value: Floats, variance: Floats, new: Bools, settings: FilterSettings) -> Floats:
    """Take one visit in, and return its readings with their innovations clipped."""
    # A missing reading has infinite noise and no innovation, so that it moves nothing.
    expected_variance = state.level_variance + np.where(new, variance, np.inf) * state.noise_factor
    innovation = np.where(new, value - state.level, 0.0)
    _follow_noise(state, innovation * innovation / expected_variance, new, settings)
    most = settings.clip * np.sqrt(expected_variance)
    clipped = np.clip(innovation, -most, most)
    cleaned = np.where(new, state.level + clipped, np.nan)
    level_gain = state.level_variance / expected_variance
    slope_gain = state.covariance / expected_variance
    state.level += level_gain * clipped
    state.slope += slope_gain * clipped
    state.slope_variance -= slope_gain * state.covariance
    state.covariance -= level_gain * state.covariance
    state.level_variance -= level_gain * state.level_variance
    state.readings += new
    return cleaned


def _follow_noise(state: _State, squares: Floats, new: Bools, settings: FilterSettings) -> None:
    # The first reading is held against the fleet's spread, not against a forecast, and tells nothing of the noise.
    counted = new & (state.readings > 0)
    kept = np.minimum(squares, settings.largest_square, out=np.zeros_like(squares), where=counted)
    state.noise_sum += settings.noise_weight * kept.sum(axis=0) * state.noise_factor
    state.noise_readings += settings.noise_weight * np.count_nonzero(counted, axis=0)
    prior = settings.noise_prior_readings
    factor = (prior + state.noise_sum) / (prior + state.noise_readings)
    state.noise_factor = np.clip(factor, settings.least_noise_factor, settings.largest_noise_factor)
