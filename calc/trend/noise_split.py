"""How the uncertainty of a level divides: what the stages of a visit share, what stays with the meter, the rest."""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Floats
from calc.budget import TEMPERATURE_COEFFICIENT_BOUND_PERCENT
from calc.copper import COPPER_TEMPERATURE_COEFFICIENT_PER_K, resistance_growth
from calc.uncertainty import rectangular_u

# Below this no reading repeats, whatever its budget says.
LEAST_OWN_U_PERCENT = 0.2


@dataclass(frozen=True, slots=True)
class NoiseSplit:
    """Standard uncertainties: `own_percent` of every level, `shared_percent` of every visit.  [%]"""

    own_percent: Floats
    shared_percent: Floats


def visit_noise(
    *,
    ammeter_accuracy_percent: Floats,
    voltmeter_accuracy_percent: Floats,
    coil_temperature_c: Floats,
    coil_temperature_bound_c: Floats,
    reference_temperature_c: Floats,
) -> tuple[Floats, Floats]:
    """Return what of a reading's uncertainty stays with the ammeter, and what the stages of a visit share.

    Parameters
    ----------
    ammeter_accuracy_percent, voltmeter_accuracy_percent : ndarray, shape (visits,)
        The meters' share of reading, without counts. [%]
    coil_temperature_c, coil_temperature_bound_c, reference_temperature_c : ndarray, shape (visits,)
        As the budget took them. [°C]

    Returns
    -------
    meter_u_percent, visit_u_percent : ndarray, shape (visits,)
        Standard uncertainties in percent of the reading: the ammeter's share of reading; voltmeter, coil temperature
        and copper coefficient. [%]

    References
    ----------
    GUM (JCGM 100:2008) 5.2.2: components that are common to several quantities.
    """
    visit_u: Floats = np.sqrt(
        rectangular_u(voltmeter_accuracy_percent) ** 2
        + _temperature_u_percent(coil_temperature_c, coil_temperature_bound_c) ** 2
        + _coefficient_u_percent(coil_temperature_c, reference_temperature_c) ** 2
    )
    return rectangular_u(ammeter_accuracy_percent), visit_u


def split_noise(
    levels_percent: Floats, u_percent: Floats, *, meter_u_percent: Floats, visit_u_percent: Floats
) -> NoiseSplit:
    """Return how much of each level's uncertainty is its own, and how much the visit's.

    Parameters
    ----------
    levels_percent, u_percent : ndarray, shape (visits, stages) or (visits, stages, installations)
        Levels and their combined standard uncertainties, NaN where not read. [%]
    meter_u_percent, visit_u_percent : ndarray, shape (visits,) or (visits, installations)
        As `visit_noise` gives them. [%]

    Returns
    -------
    NoiseSplit
        The ammeter's share of reading is in neither part: it stays with the meter from visit to visit and is its meter
        effect.  Counts, resolution and repeatability are left to each stage.

    Notes
    -----
    A meter's share and counts add linearly in the budget and in squares here, so that what is left to the stages is
    never too small.

    Examples
    --------
    >>> one = np.ones(1)
    >>> meter_u, visit_u = visit_noise(
    ...     ammeter_accuracy_percent=2.0 * one, voltmeter_accuracy_percent=0.5 * one, coil_temperature_c=20.0 * one,
    ...     coil_temperature_bound_c=5.0 * one, reference_temperature_c=20.0 * one)
    >>> found = split_noise(
    ...     np.full((1, 4), 100.0), np.full((1, 4), 1.8), meter_u_percent=meter_u, visit_u_percent=visit_u)
    >>> round(float(found.own_percent[0, 0]), 2), round(float(found.shared_percent[0]), 2)
    (0.73, 1.17)
    """
    share = levels_percent / 100.0
    of_meter_and_visit = meter_u_percent**2 + visit_u_percent**2
    own_variance = u_percent**2 - share**2 * of_meter_and_visit[:, None]
    own = np.sqrt(np.maximum(own_variance, LEAST_OWN_U_PERCENT**2))
    read = ~np.isnan(share)
    mean_share = np.where(read, share, 0.0).sum(axis=1) / np.maximum(np.count_nonzero(read, axis=1), 1)
    return NoiseSplit(np.where(read, own, np.nan), np.abs(mean_share) * visit_u_percent)


def _temperature_u_percent(coil_temperature_c: Floats, bound_c: Floats) -> Floats:
    per_kelvin = COPPER_TEMPERATURE_COEFFICIENT_PER_K / resistance_growth(coil_temperature_c)
    u: Floats = 100.0 * rectangular_u(per_kelvin * bound_c)
    return u


def _coefficient_u_percent(coil_temperature_c: Floats, reference_temperature_c: Floats) -> Floats:
    bound = COPPER_TEMPERATURE_COEFFICIENT_PER_K * TEMPERATURE_COEFFICIENT_BOUND_PERCENT / 100
    per_coefficient = _kelvin_over_growth(coil_temperature_c) - _kelvin_over_growth(reference_temperature_c)
    u: Floats = 100.0 * rectangular_u(np.abs(per_coefficient) * bound)
    return u


def _kelvin_over_growth(temperature_c: Floats) -> Floats:
    above: Floats = (temperature_c - 20.0) / resistance_growth(temperature_c)
    return above
