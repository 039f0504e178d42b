"""What one visit says of every track: all stages, each stage, and the clamp."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calc.arrays import Bools, Floats, Ints
from calc.trend.attribution import FALL, evidence_of, unexplained
from calc.trend.book import CLEARING_RATIO
from calc.trend.series import Entry
from calc.trend.single_replay import ratios
from calc.trend.thresholds import Thresholds

# What is flagged already is left only for something this much likelier, as a natural logarithm of the odds.
HELD_LOG_ODDS = 2.3


@dataclass(frozen=True, slots=True)
class Sighting:
    """One visit of some installations: shapes (channels, rows) and (rows,)."""

    z: Floats
    slopes: Floats
    slope_variances: Floats
    elapsed_years: Floats
    limits: Thresholds
    ground_open: Bools
    meter_suspected: Bools


@dataclass(frozen=True, slots=True)
class Verdict:
    """Per track, all stages first, the clamp last; ratios are z over its threshold, (2, tracks, rows): fall, rise.

    `raises` and `confirms` decide about new episodes, `holds` lets quiet ones go, and `moved` marks tracks whose change
    belongs to another track.
    """

    raises: Floats
    confirms: Floats
    holds: Floats
    moved: Bools


def verdict_of(sighting: Sighting, held: Bools) -> Verdict:
    """Return what to make of a visit.

    Parameters
    ----------
    sighting : Sighting
        What the filter says after the visit.
    held : ndarray of bool, shape (2, tracks, rows)
        Which tracks are flagged already, falling or rising.

    Notes
    -----
    Whether anything is flagged is the business of the channel with the largest z over its threshold; what is flagged is
    the hypothesis with the largest posterior.  Another track is flagged beside it only if what the first leaves
    unexplained would confirm it by itself.
    """
    watch, alarm = ratios(sighting.z, sighting.limits)
    watch[FALL, 0, sighting.ground_open] = -np.inf
    winner = _winner(sighting, watch, held)
    left_watch, left_alarm = ratios(_left_z(sighting, winner), sighting.limits)
    beside = np.where(winner.found, np.minimum(alarm, left_alarm), -np.inf)
    raises, confirms, holds = _with_meter(beside), _with_meter(beside), _with_meter(watch)
    moved = _with_meter(winner.found & (left_watch < CLEARING_RATIO) & (watch >= CLEARING_RATIO))
    raises[:, -1] = confirms[:, -1] = -np.inf
    rows = np.flatnonzero(winner.found)
    direction, track = winner.direction[rows], winner.track[rows]
    raises[:, track, rows] = confirms[:, track, rows] = -np.inf
    raises[direction, track, rows] = holds[direction, track, rows] = watch.max(axis=1)[direction, rows]
    confirms[direction, track, rows] = alarm.max(axis=1)[direction, rows]
    moved[:, track, rows] = False
    return Verdict(
        raises, confirms, np.where(np.isneginf(holds), np.inf, holds), np.asarray((moved & held).any(axis=0))
    )


@dataclass(frozen=True, slots=True)
class _Winner:
    """Per row, shape (rows,): whether anything is flagged, and as what."""

    found: Bools
    direction: Ints
    hypothesis: Ints
    track: Ints
    slope: Floats


def _winner(sighting: Sighting, watch: Floats, held: Bools) -> _Winner:
    evidence = evidence_of(sighting.slopes, sighting.slope_variances, sighting.elapsed_years)
    held_hypothesis = held[:, :-1].copy()
    held_hypothesis[:, 0] |= held[:, -1]
    score = evidence.log_posterior + HELD_LOG_ODDS * held_hypothesis
    score[:, 0][np.isneginf(watch[:, 0])] = -np.inf
    score[np.broadcast_to((watch.max(axis=1) < 1)[:, None], score.shape)] = -np.inf
    hypotheses, rows = score.shape[1:]
    best = score.reshape(-1, rows).argmax(axis=0)
    direction, hypothesis = np.divmod(best, hypotheses)
    every = np.arange(rows)
    by_meter = (hypothesis == 0) & sighting.meter_suspected & ~held[:, 0].any(axis=0)
    track = np.where(by_meter, hypotheses, hypothesis)
    found = np.isfinite(score[direction, hypothesis, every])
    return _Winner(found, direction, hypothesis, track, evidence.slope[direction, hypothesis, every])


def _left_z(sighting: Sighting, winner: _Winner) -> Floats:
    """Return z of what the winner leaves unexplained, NaN where there is no new reading."""
    left = sighting.slopes.copy()
    for hypothesis in np.unique(winner.hypothesis[winner.found]):
        rows = np.flatnonzero(winner.found & (winner.hypothesis == hypothesis))
        left[:, rows] = unexplained(sighting.slopes[:, rows], winner.slope[rows], int(hypothesis))
    z: Floats = -left / np.sqrt(sighting.slope_variances)
    return np.where(np.isnan(sighting.z), np.nan, z)


def _with_meter(of_channels: npt.NDArray[Entry]) -> npt.NDArray[Entry]:
    """Return the channels as tracks: what the clamp does is seen in the common channel."""
    return np.concatenate([of_channels, of_channels[:, :1]], axis=1)
