"""The history of a unit's stages replayed check by check: the same series always gives the same episodes."""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.book import NOTHING, Book
from calc.trend.channels import COMMON, Channels
from calc.trend.episodes import ALL_STAGES, ATTRIBUTED_ELSEWHERE, METER, STAGE, Episodes
from calc.trend.filtering import Filtered
from calc.trend.losses import Losses
from calc.trend.single_replay import mean_noise
from calc.trend.suspicion import meter_suspected
from calc.trend.thresholds import least_thresholds, stage_thresholds
from calc.trend.verdicts import Sighting, verdict_of


@dataclass(frozen=True, slots=True)
class History:
    """What a replay goes by.

    Attributes
    ----------
    years : ndarray, shape (visits, installations)
        Time of each check. [year]
    channels : Channels
        Levels as channels.
    filtered : Filtered
        What the filter made of them.
    starts : ndarray of bool, shape (visits, installations)
        Visits that begin a baseline, the first one included.
    meters : ndarray of int, shape (visits, installations)
        Which clamp read the visit.
    ground_open : ndarray of bool, shape (visits, installations)
        Whether a loss in the shared ground was flagged by then: it explains a loss of all stages.
    """

    years: Floats
    channels: Channels
    filtered: Filtered
    starts: Bools
    meters: Ints
    ground_open: Bools

    @property
    def stages(self) -> int:
        """Return the number of stages."""
        return max(len(self.channels.prior_sd) - 1, 1)


def replay(history: History) -> Episodes:
    """Return what was flagged of the stages, from the first check to the last.

    Notes
    -----
    A track is raised and confirmed by its z, let go when z is back below half of what raised it, and once confirmed
    only when its loss is gone as well.  States change only with a visit that brings evidence.
    """
    contrasts = history.filtered.z.shape[1] - 1
    attribution = np.array([ALL_STAGES, *[STAGE] * contrasts, METER])
    stage = np.array([0, *range(1, contrasts + 1), 0])
    book = Book(attribution, stage, history.years.shape[1])
    losses = Losses(history.channels.values, history.channels.variances, history.filtered)
    began = history.years[0].copy()
    worth_a_look = _worth_a_look(history)
    for visit, starts in enumerate(history.starts):
        book.repaired(visit, starts)
        losses.follow(visit, starts)
        began[starts] = history.years[visit][starts]
        new = ~np.isnan(history.filtered.z[visit]).all(axis=0)
        columns = np.flatnonzero(new & (worth_a_look[visit] | (book.state != NOTHING).any(axis=0)))
        if len(columns):
            _judge(book, losses, history, visit, columns, history.years[visit, columns] - began[columns])
    return book.episodes()


def _worth_a_look(history: History) -> Bools:
    """Return which visits may raise something: z passes what the noisiest readings of the series would ask for."""
    read = ~np.isnan(history.filtered.cleaned)
    noisiest = np.where(read, history.channels.variances, 0.0).max(axis=0)
    falls, rises = least_thresholds(history.stages, noisiest)
    z = history.filtered.z
    worth: Bools = np.any((z >= falls) | (-z >= rises), axis=1)
    return worth


def _judge(book: Book, losses: Losses, history: History, visit: int, columns: Ints, elapsed_years: Floats) -> None:
    verdict = verdict_of(_sighting(history, visit, columns, elapsed_years), _held(book, columns))
    book.close(visit, verdict.moved, ATTRIBUTED_ELSEWHERE, columns)
    book.raise_and_confirm(visit, columns, verdict.raises, verdict.confirms)
    lost = losses.in_sd(visit, columns)
    book.let_go(visit, columns, verdict.holds, np.concatenate([lost, lost[:1]]))


def _held(book: Book, columns: Ints) -> Bools:
    flagged, direction = book.state[:, columns] != NOTHING, book.direction[:, columns]
    return np.stack([flagged & (direction == 0), flagged & (direction == 1)])


def _sighting(history: History, visit: int, columns: Ints, elapsed_years: Floats) -> Sighting:
    filtered = history.filtered
    so_far = slice(0, visit + 1)
    baseline = np.cumsum(history.starts[so_far][:, columns], axis=0)
    belongs = baseline == baseline[-1]
    read = ~np.isnan(filtered.cleaned[so_far][:, :, columns])
    noise = mean_noise(history.channels.variances[so_far][:, :, columns], read & belongs[:, None])
    return Sighting(
        z=filtered.z[visit][:, columns],
        slopes=filtered.slope[visit][:, columns],
        slope_variances=filtered.slope_variance[visit][:, columns],
        elapsed_years=elapsed_years,
        limits=stage_thresholds(history.stages, noise),
        ground_open=history.ground_open[visit, columns],
        meter_suspected=meter_suspected(history.meters[so_far][:, columns], read[:, COMMON] & belongs),
    )
