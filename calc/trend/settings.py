"""What the filter assumes of a healthy fleet.

Chosen by simulation for levels in percent of rated, two to six checks a year; no field data stands behind them.
"""

from dataclasses import dataclass

# Spread of the levels of healthy stages about rated, as a standard deviation.
STAGE_LEVEL_SD_PERCENT = 2.0
# What the stages of a visit share from one visit to the next, where nothing is said about it.
SHARED_U_PERCENT = 1.5
# How far an unexamined clamp may stand from the mean of the fleet's clamps, as a standard deviation.
METER_EFFECT_SD_PERCENT = 0.7
FIRST_DECISION_READING = 4


@dataclass(frozen=True, slots=True)
class FilterSettings:
    """Constants of the robust local-linear-trend filter.

    Attributes
    ----------
    slope_walk : float
        Random walk of the slope. [%/year per √year]
    level_walk : float
        Random walk of the level. [% per √year]
    first_slope_sd : float
        Standard deviation of the slope before any reading. [%/year]
    clip : float
        Innovations count for no more than so many of their standard deviations. [-]
    noise_prior_readings : float
        Readings that the fleet's noise counts for against the installation's own. [-]
    noise_weight : float
        Readings that one channel's reading counts for; channels of one visit are not independent. [-]
    largest_square : float
        Squared innovations count for no more than this in the noise. [-]
    least_noise_factor, largest_noise_factor : float
        Limits of the factor on the variance of the noise. [-]
    """

    slope_walk: float = 0.4
    level_walk: float = 0.3
    first_slope_sd: float = 0.5
    clip: float = 2.0
    noise_prior_readings: float = 10.0
    noise_weight: float = 0.5
    largest_square: float = 6.0
    least_noise_factor: float = 0.5
    largest_noise_factor: float = 6.0


DETECTION = FilterSettings()
# Wide enough to follow a fast fault: it only takes the gross errors out of a series before it is forecast.
CLEANING = FilterSettings(slope_walk=1.0, first_slope_sd=3.0, clip=3.0, noise_weight=1.0)
