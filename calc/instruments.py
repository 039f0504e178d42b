"""What a calibration found of a meter, and whether two meters that read the same thing agree."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, sqrt

from calc.errors import RELATIVE_SLACK
from calc.evidence import Meter
from calc.meters import half_width_at, highest_reading
from calc.uncertainty import NORMAL_COVERAGE_FACTOR, rectangular_u

# ISO 13528 and ISO/IEC 17043: two results agree where |E_n| is at most one (the criterion from memory, the definition
# from a secondary source).
LARGEST_AGREEING = 1.0


@dataclass(frozen=True, slots=True)
class CalibrationPoint:
    """One line of a certificate: what was put to the meter, and what it showed. [A or V]"""

    applied: float
    shown: float


@dataclass(frozen=True, slots=True)
class FoundError:
    """A meter's error as it was found: it shows applied × (1 + gain_percent / 100) + zero."""

    gain_percent: float
    zero: float


@dataclass(frozen=True, slots=True)
class PairCompared:
    """Two meters on one quantity at one time; uncertainties are expanded, k = 2. [A or V]"""

    first: float
    second: float
    first_expanded_uncertainty: float
    second_expanded_uncertainty: float
    normalised_error: float | None
    over_range: bool


def worst_share_of_accuracy(meter: Meter, points: Sequence[CalibrationPoint]) -> float | None:
    """Return the largest error of a meter as a share of what its accuracy allows at that reading; None without points.

    Up to one it is within its accuracy; the limit belongs to acceptance.

    Examples
    --------
    >>> clamp = Meter(2.0, 5, 0.1)
    >>> round(worst_share_of_accuracy(clamp, [CalibrationPoint(30.0, 31.0), CalibrationPoint(100.0, 101.0)]), 3)
    0.893
    """
    return max((_share(meter, point) for point in points), default=None)


def is_within_accuracy(meter: Meter, points: Sequence[CalibrationPoint]) -> bool | None:
    """Return whether every point lies within the meter's stated accuracy, None without points.

    Examples
    --------
    >>> is_within_accuracy(Meter(2.0, 5, 0.1), [CalibrationPoint(100.0, 102.6)])
    False
    """
    share = worst_share_of_accuracy(meter, points)
    return None if share is None else share <= 1 + RELATIVE_SLACK


def _share(meter: Meter, point: CalibrationPoint) -> float:
    allowed = half_width_at(meter, point.shown)
    error = abs(point.shown - point.applied)
    if allowed > 0:
        return error / allowed
    return 0.0 if error == 0 else inf


def found_error(points: Sequence[CalibrationPoint]) -> FoundError | None:
    """Return the gain and zero error of the least-squares line through a certificate's points.

    Points of one applied value tell no zero from a gain: all is then taken as gain, and as zero where nothing was
    applied.  None without points.

    Examples
    --------
    >>> found_error([CalibrationPoint(0.0, 0.5), CalibrationPoint(100.0, 96.5)])
    FoundError(gain_percent=-4.0, zero=0.5)
    >>> found_error([CalibrationPoint(50.0, 51.0)])
    FoundError(gain_percent=2.0, zero=0.0)
    """
    if not points:
        return None
    number = len(points)
    mean_applied = sum(point.applied for point in points) / number
    mean_shown = sum(point.shown for point in points) / number
    spread = sum((point.applied - mean_applied) ** 2 for point in points)
    if spread > (RELATIVE_SLACK * max(abs(mean_applied), 1.0)) ** 2:
        slope = sum((point.applied - mean_applied) * (point.shown - mean_shown) for point in points) / spread
        return FoundError(_rounded(100 * (slope - 1)), _rounded(mean_shown - slope * mean_applied))
    if mean_applied == 0:
        return FoundError(0.0, _rounded(mean_shown))
    return FoundError(_rounded(100 * (mean_shown / mean_applied - 1)), 0.0)


def _rounded(value: float) -> float:
    # Far below the last digit of any certificate: what is rounded away is binary noise.
    return round(value, 9) + 0.0


def expanded_uncertainty_at(meter: Meter, reading: float) -> float:
    """Return a meter's expanded uncertainty at a reading, k = 2: its accuracy is one rectangle.

    Examples
    --------
    >>> round(expanded_uncertainty_at(Meter(2.0, 5, 0.1), 30.0), 3)
    1.27
    """
    return NORMAL_COVERAGE_FACTOR * rectangular_u(half_width_at(meter, reading))


def normalised_error(first: float, second: float, first_expanded: float, second_expanded: float) -> float:
    """Return E_n, the difference of two results as a share of its expanded uncertainty; agreeing where |E_n| <= 1.

    Parameters
    ----------
    first, second : float
        Two independent results for one quantity.
    first_expanded, second_expanded : float
        Their expanded uncertainties, with the same coverage factor.

    References
    ----------
    ISO 13528; ISO/IEC 17043.  For k = 2 it is half the zeta score.

    Examples
    --------
    >>> round(normalised_error(34.0, 33.0, 1.2, 0.9), 4)
    0.6667
    """
    both = sqrt(first_expanded**2 + second_expanded**2)
    if both == 0:
        return 0.0 if first == second else inf if first > second else -inf
    return (first - second) / both


def pair_compared(first_meter: Meter, second_meter: Meter, first: float, second: float) -> PairCompared:
    """Return how two meters' readings of one quantity compare; over range there is no E_n.

    Examples
    --------
    >>> round(pair_compared(Meter(2.0, 5, 0.1), Meter(1.0, 3, 0.1), 36.3, 35.1).normalised_error, 3)
    0.749
    """
    over_range = any(
        (highest := highest_reading(meter)) is not None and abs(reading) > highest * (1 + RELATIVE_SLACK)
        for meter, reading in ((first_meter, first), (second_meter, second))
    )
    first_expanded = expanded_uncertainty_at(first_meter, first)
    second_expanded = expanded_uncertainty_at(second_meter, second)
    error = None if over_range else normalised_error(first, second, first_expanded, second_expanded)
    return PairCompared(first, second, first_expanded, second_expanded, error, over_range)


def largest_normalised_error(pairs: Sequence[PairCompared]) -> float | None:
    """Return the E_n furthest from zero, None where no pair has one.

    Examples
    --------
    >>> clamp = Meter(2.0, 5, 0.1)
    >>> largest_normalised_error([pair_compared(clamp, clamp, 30.0, 30.0)])
    0.0
    """
    errors = [pair.normalised_error for pair in pairs if pair.normalised_error is not None]
    return max(errors, key=abs, default=None)
