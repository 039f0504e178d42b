"""The best of many dates for a step in a meter's readings, a yearly wave beside it, and how far to believe its gain."""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.meter_model import EFFECT_SD_PERCENT

# A yearly wave of any phase, as an ill-known temperature leaves it in a whole depot, is fitted beside the step.
WAVE_SD_PERCENT = 2.0
# Bins of ill weather go together so far.
LAGS = 3
# A scatter beyond this is taken from the bins themselves, and is no better known than they are many.
STATED_SCATTER = 2.0


@dataclass(frozen=True, slots=True)
class Bins:
    """What the bins of some meters say, the lines of the units eliminated.

    Attributes
    ----------
    information : ndarray, shape (meters, bins, bins)
        Inverse covariance of the levels of the bins. [%⁻²]
    pull : ndarray, shape (meters, bins)
        Right-hand side. [%⁻¹]
    weight : ndarray, shape (meters, bins)
        Sum of the weights of the visits. [%⁻²]
    cosine, sine : ndarray, shape (meters, bins)
        Mean of the yearly wave over a bin. [-]
    """

    information: Floats
    pull: Floats
    weight: Floats
    cosine: Floats
    sine: Floats


@dataclass(frozen=True, slots=True)
class Steps:
    """The best step of each meter; arrays of shape (meters,) but for `wave_percent`, which is (2, meters).

    Attributes
    ----------
    bin : ndarray of int
        First bin after the step.
    gain : ndarray
        Twice the gain in log likelihood, over the scatter; 0 where nothing can be said. [-]
    size_percent : ndarray
        Step, negative where the meter turns low. [%]
    scatter : ndarray
        Factor on the variance: scatter of the bins over what their noise explains, and how long it lasts; at least 1.
    wave_percent : ndarray
        Cosine and sine of the yearly wave. [%]
    """

    bin: Ints
    gain: Floats
    size_percent: Floats
    scatter: Floats
    wave_percent: Floats


def best_steps(bins: Bins, allowed: Bools) -> Steps:
    """Return the best step of each meter.

    Parameters
    ----------
    bins : Bins
        What the bins say.
    allowed : ndarray of bool, shape (meters, bins − 1)
        Before which bins, from the second on, a step may be.

    References
    ----------
    R. T. Birge, Physical Review 40 (1932) 207: the scatter of results over what they state widens it (from memory).
    """
    used = bins.weight > 0
    beside = np.stack([used.astype(np.float64), bins.cosine, bins.sine], axis=2)
    fit = _fit(bins, beside)
    free = np.maximum(used.sum(axis=1) - beside.shape[2] - 2, 1)
    scatter = np.maximum(((_whole(bins) - fit.explained)[:, None] - fit.gain) / free[:, None], 1.0)
    gain = np.where(allowed & fit.told, fit.gain / scatter, 0.0)
    best, row = gain.argmax(axis=1), np.arange(len(gain))
    gain, size, scatter = gain[row, best], fit.size[row, best], scatter[row, best]
    rest = fit.rest[row, :, best]
    after = np.arange(bins.pull.shape[1]) > best[:, None]
    model = np.einsum("mbk,mk->mb", beside, rest) + size[:, None] * after
    left = bins.pull - np.einsum("mbc,mc->mb", bins.information, model)
    lasting = _lasting(left / np.sqrt(np.where(used, bins.weight, 1.0)))
    gain = gain / lasting
    gain = np.where(scatter > STATED_SCATTER, free * np.log1p(gain / free), gain)
    return Steps(best + 1, gain, size, scatter * lasting, rest[:, 1:].T)


@dataclass(frozen=True, slots=True)
class _Fit:
    """Of every step, shape (meters, steps): gain, size, whether it can be told; the rest, (meters, 3, steps)."""

    gain: Floats
    size: Floats
    told: Bools
    rest: Floats
    explained: Floats


def _fit(bins: Bins, beside: Floats) -> _Fit:
    """Fit each step with the meter's own effect and the wave beside it."""
    meters, count = bins.pull.shape
    step = np.broadcast_to(np.tri(count)[:, 1:], (meters, count, count - 1))
    prior = np.diag([1 / EFFECT_SD_PERCENT**2, *[1 / WAVE_SD_PERCENT**2] * 2])
    weighed = bins.information @ beside
    own = beside.transpose(0, 2, 1) @ weighed + prior
    own_pull = np.einsum("mbk,mb->mk", beside, bins.pull)
    own_fit = np.linalg.solve(own, own_pull[:, :, None])[:, :, 0]
    cross = weighed.transpose(0, 2, 1) @ step
    freed = np.linalg.solve(own, cross)
    alone = np.einsum("mbk,mbk->mk", step, bins.information @ step)
    left = alone - np.einsum("mnk,mnk->mk", cross, freed)
    left_pull = np.einsum("mbk,mb->mk", step, bins.pull) - np.einsum("mnk,mn->mk", cross, own_fit)
    told: Bools = left > 1e-3 * np.maximum(alone, 1e-9)
    size = np.where(told, left_pull / np.where(told, left, 1.0), 0.0)
    rest = own_fit[:, :, None] - freed * size[:, None]
    return _Fit(size * left_pull, size, told, rest, np.einsum("mk,mk->m", own_pull, own_fit))


def _whole(bins: Bins) -> Floats:
    """Return what the bins explain when each has its own level."""
    # Bins without a visit say nothing; a level or trend of all bins alike is the units' own.
    count = bins.pull.shape[1]
    least = 1e-5 * np.trace(bins.information, axis1=1, axis2=2) / count + 1e-9
    solved = np.linalg.solve(bins.information + least[:, None, None] * np.eye(count), bins.pull[:, :, None])
    explained: Floats = np.einsum("mb,mb->m", bins.pull, solved[:, :, 0])
    return explained


def _lasting(left: Floats) -> Floats:
    """Return by how much bins that go together with the next ones widen what is known of a step, at least 1.

    References
    ----------
    W. K. Newey, K. D. West, Econometrica 55 (1987) 703: weights that fall with the lag (from memory).
    """
    square = np.maximum(np.einsum("mb,mb->m", left, left), 1e-12)
    widening = np.ones(len(left))
    for lag in range(1, LAGS + 1):
        widening += 2 * (1 - lag / (LAGS + 1)) * np.einsum("mb,mb->m", left[:, lag:], left[:, :-lag]) / square
    return np.maximum(widening, 1.0)
