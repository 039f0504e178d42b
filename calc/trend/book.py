"""Open episodes while a history is replayed: raised, confirmed, ended, with hysteresis."""

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.episodes import LEVEL_REGAINED, NEVER, OPEN, REPAIRED, SUBSIDED, Episodes, all_of

NOTHING, WATCHED, CONFIRMED = range(3)
# A watched change is let go once z is back below so much of what raised it.
CLEARING_RATIO = 0.5
# A confirmed change stays until its loss can no longer be told from nothing, in standard deviations of the loss.
CLEARING_LOSS_SD = 1.0


class Book:
    """One line a track: what the tracks mean is the caller's business.  Arrays have shape (tracks, installations)."""

    def __init__(self, attribution: Ints, stage: Ints, installations: int) -> None:
        shape = (len(attribution), installations)
        self.attribution, self.stage = attribution, stage
        self.state = np.zeros(shape, np.int64)
        self.direction = np.zeros(shape, np.int64)
        self.raised, self.confirmed = np.full((2, *shape), NEVER)
        self.finished: list[Episodes] = []

    def close(self, visit: int, chosen: Bools, ending: int, columns: Ints | slice = slice(None)) -> None:
        """End the open episodes of the chosen tracks and columns."""
        chosen = chosen & (self.state[:, columns] != NOTHING)
        if not chosen.any():
            return
        track, place = np.nonzero(chosen)
        installation = np.arange(self.state.shape[1])[columns][place]
        self.finished.append(self._episodes(track, installation, visit, ending))
        self.state[track, installation] = NOTHING
        self.confirmed[track, installation] = NEVER

    def repaired(self, visit: int, starts: Bools) -> None:
        """Resolve whatever is open where a new baseline begins."""
        if starts.any():
            self.close(visit, np.broadcast_to(starts, self.state.shape), REPAIRED)

    def raise_and_confirm(self, visit: int, columns: Ints, watch: Floats, alarm: Floats) -> None:
        """Open and confirm episodes.

        Parameters
        ----------
        visit : int
            The visit whose readings say so.
        columns : ndarray of int, shape (rows,)
            Installations that have something new.
        watch, alarm : ndarray, shape (2, tracks, rows)
            z over its threshold, falling and rising; −∞ where the visit is no evidence.
        """
        state, direction = self.state[:, columns], self.direction[:, columns]
        strongest = watch.argmax(axis=0)
        new = (state == NOTHING) & (watch.max(axis=0) >= 1)
        direction = np.where(new, strongest, direction)
        own_alarm = np.take_along_axis(alarm, direction[None], axis=0)[0]
        confirms = ((state == WATCHED) | new) & (own_alarm >= 1)
        self.raised[:, columns] = np.where(new, visit, self.raised[:, columns])
        self.confirmed[:, columns] = np.where(confirms, visit, self.confirmed[:, columns])
        self.direction[:, columns] = direction
        self.state[:, columns] = np.where(confirms, CONFIRMED, np.where(new, WATCHED, state))

    def let_go(self, visit: int, columns: Ints, watch: Floats, loss_sd: Floats) -> None:
        """End what has subsided.

        Parameters
        ----------
        visit, columns, watch
            As above; `watch` is +∞ where nothing may end.
        loss_sd : ndarray, shape (tracks, rows)
            Loss since the baseline began over its standard deviation, negative for a gain.
        """
        direction = self.direction[:, columns]
        own_watch = np.take_along_axis(watch, direction[None], axis=0)[0]
        quiet = np.isfinite(own_watch) & (own_watch < CLEARING_RATIO)
        lost = np.where(direction == 0, loss_sd, -loss_sd)
        state = self.state[:, columns]
        self.close(visit, quiet & (state == WATCHED), SUBSIDED, columns)
        self.close(visit, quiet & (state == CONFIRMED) & (lost < CLEARING_LOSS_SD), LEVEL_REGAINED, columns)

    def episodes(self) -> Episodes:
        """Return everything, ended or still open."""
        track, installation = np.nonzero(self.state != NOTHING)
        return all_of([*self.finished, self._episodes(track, installation, NEVER, OPEN)])

    def _episodes(self, track: Ints, installation: Ints, ended: int, ending: int) -> Episodes:
        return Episodes(
            installation,
            self.attribution[track],
            self.stage[track],
            self.direction[track, installation] == 1,
            self.raised[track, installation],
            self.confirmed[track, installation],
            np.full(len(track), ended),
            np.full(len(track), ending),
        )
