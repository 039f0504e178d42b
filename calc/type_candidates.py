"""Which type on file a unit could be: how well what its stages conduct fits each type's rated amps."""

from collections.abc import Sequence
from math import hypot, log
from typing import NamedTuple

from scipy.special import chdtrc

from calc.columns import ASSUMED_REFERENCE_TEMPERATURE_BOUND_C
from calc.copper import COPPER_TEMPERATURE_COEFFICIENT_PER_K, resistance_growth
from calc.evidence import OwnConductance, Rating
from calc.uncertainty import NORMAL_COVERAGE_FACTOR, rectangular_u
from calc.unit import HEALTHY_SPREAD


class TypeFit(NamedTuple):
    """A unit held against a type: its level, its shape, and how likely a sound one is that far off or further.

    The level is the unit's mean in percent of rated, None where the rating states no voltage.  The deviation is that of
    the stage that fits the type's proportions worst, None with a single stage.  Expanded uncertainties are of k = 2.
    The probability is None where neither can be told.  [%]
    """

    level_percent: float | None
    level_expanded_uncertainty_percent: float | None
    deviation_percent: float | None
    deviation_expanded_uncertainty_percent: float | None
    probability: float | None


NOTHING_TOLD = TypeFit(None, None, None, None, None)


def type_fit(own: Sequence[OwnConductance], rating: Rating) -> TypeFit:
    """Return how well a unit fits a type of as many stages.

    Parameters
    ----------
    own : sequence of OwnConductance
        One figure a stage, at 20 °C; a stage that was never read is left out.
    rating : Rating
        The type's.

    Notes
    -----
    Sound stages lie about their rated amps with a standard deviation of 3 % (judgement, as for the healthy circuit).
    How much of it the stages of a unit have in common nobody knows: the level is given all of it, as if they shared it,
    and the shape all of it, as if each had its own, so that no sound unit is called unlike its type too often.  What
    all stages of a check share moves the level and not the shape.  The squares of both, over their variances, are
    held against a chi-squared distribution of as many degrees of freedom as could be told.  It says what a sound unit
    would look like: a faulty one fits its own type badly.

    References
    ----------
    GUM (JCGM 100:2008) 5.1.2; IEC 60028:1925 for the temperature of the rating.

    Examples
    --------
    >>> own = [OwnConductance(stage, 2.9142, 0.0647, 0.0211) for stage in (1, 2, 3, 4)]
    >>> type_35_a, type_30_a = (Rating((amps,) * 4, 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2) for amps in (35.0, 30.0))
    >>> fits = [type_fit(own, rating) for rating in (type_35_a, type_30_a)]
    >>> [(round(fit.level_percent, 1), round(fit.probability, 4)) for fit in fits]
    [(99.9, 1.0), (116.6, 0.002)]
    """
    if not own or not rating.identified:
        return NOTHING_TOLD
    shares = [one.conductance_s / rating.rated_currents_a[one.stage - 1] for one in own]
    mean_share = sum(shares) / len(shares)
    level, u_level, level_square = _level(own, mean_share, rating)
    deviation, u_deviation, shape_square = _shape(own, shares, mean_share)
    squares = [square for square in (level_square, shape_square) if square is not None]
    freedom = (level_square is not None) + (len(own) - 1)
    return TypeFit(
        level,
        u_level,
        deviation,
        u_deviation,
        float(chdtrc(freedom, sum(squares))) if freedom else None,
    )


def _level(
    own: Sequence[OwnConductance], mean_share: float, rating: Rating
) -> tuple[float | None, float | None, float | None]:
    """Return the mean level, its expanded uncertainty, and the square of its distance from rated in deviations."""
    if not rating.reference_voltage_v:
        return None, None, None
    level = mean_share * rating.reference_voltage_v / resistance_growth(rating.reference_temperature_c)
    u_relative = sum(one.u_conductance_s / one.conductance_s for one in own) / len(own)
    u_relative = hypot(u_relative, _u_reference_temperature(rating))
    square = log(level) ** 2 / (u_relative**2 + HEALTHY_SPREAD**2)
    return 100 * level, 100 * NORMAL_COVERAGE_FACTOR * level * u_relative, square


def _u_reference_temperature(rating: Rating) -> float:
    if not rating.reference_temperature_assumed:
        return 0.0
    per_k = COPPER_TEMPERATURE_COEFFICIENT_PER_K / resistance_growth(rating.reference_temperature_c)
    return rectangular_u(per_k * ASSUMED_REFERENCE_TEMPERATURE_BOUND_C)


def _shape(
    own: Sequence[OwnConductance], shares: Sequence[float], mean_share: float
) -> tuple[float | None, float | None, float | None]:
    """Return the largest deviation from the type's proportions, its expanded uncertainty, and the sum of squares."""
    if len(own) < 2:
        return None, None, None
    off = [(share / mean_share - 1, one.u_alone_s / one.conductance_s) for share, one in zip(shares, own, strict=True)]
    deviation, u_alone = max(off, key=lambda each: abs(each[0]))
    square = sum(one**2 / (u**2 + HEALTHY_SPREAD**2) for one, u in off)
    return 100 * deviation, 100 * NORMAL_COVERAGE_FACTOR * u_alone, square
