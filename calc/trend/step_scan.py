"""The uses of each meter in bins of time, so that a step can be tried before every one of them."""

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.meter_visits import MeterVisits, robust_lines
from calc.trend.step_fit import Bins, Steps, best_steps
from calc.trend.unit_lines import eliminated

BINS = 24
# With fewer bins in use the scatter from bin to bin is not known, and nothing is claimed.
LEAST_BINS_USED = 8
_AT_ONCE = 1000
# The upper half of a matrix of bins, row by row, and where in it each pair of bins stands.
_ROW, _COLUMN = np.triu_indices(BINS)
_PLACE = np.zeros((BINS, BINS), np.int64)
_PLACE[_ROW, _COLUMN] = np.arange(len(_ROW))


class StepScan:
    """The bins of some meters, added up range by range of the units.

    Parameters
    ----------
    from_years, until_years : ndarray, shape (meters,)
        What the bins divide; what lies before or after belongs to the first or the last.  NaN: not looked at. [year]
    """

    def __init__(self, from_years: Floats, until_years: Floats) -> None:
        """Begin with empty bins."""
        self._looked_at = np.flatnonzero(np.isfinite(from_years))
        self._slot = np.full(len(from_years), -1)
        self._slot[self._looked_at] = np.arange(len(self._looked_at))
        self._from, self._span = from_years, np.maximum(until_years - from_years, 1e-6)
        # Single precision is enough for sums of weights, and half of a symmetric matrix: there may be many meters.
        self._information = np.zeros((len(self._looked_at), len(_ROW)), np.float32)
        self._weight, self._pull, self._cosine, self._sine = np.zeros((4, len(self._looked_at), BINS), np.float32)

    def edges(self, bins: Ints) -> Floats:
        """Return where a bin of each meter begins.  [year]"""
        edges: Floats = self._from + bins / BINS * self._span
        return edges

    def add(self, visits: MeterVisits, effect_percent: Floats) -> None:
        """Take in the visits of some units, less the effects of their meters, one a visit.  [%]"""
        lines, residual = robust_lines(visits, visits.value_percent - effect_percent)
        seen = np.flatnonzero(self._slot[visits.meter] >= 0)
        if not len(seen):
            return
        meter, years, weight = visits.meter[seen], visits.years[seen], lines.weight[seen]
        node = self._slot[meter] * BINS + self._bin(meter, years)
        turn = 2 * np.pi * years
        of_visits = (np.ones(len(turn)), residual[seen], np.cos(turn), np.sin(turn))
        for sums, each in zip((self._weight, self._pull, self._cosine, self._sine), of_visits, strict=True):
            np.add.at(sums.reshape(-1), node, weight * each)
        self._add_lines(visits.unit[seen], node, weight, lines.years[seen], lines.inverse)

    def best(self, *, least_bins: int = LEAST_BINS_USED, least_side_years: float = 0.0) -> Steps:
        """Return the best step of every meter that uses enough bins, so long at least after the first and before the
        last of them."""
        meters = len(self._slot)
        bins, (gain, size) = np.ones(meters, np.int64), np.zeros((2, meters))
        scatter, wave = np.ones(meters), np.zeros((2, meters))
        for start in range(0, len(self._looked_at), _AT_ONCE):
            some = slice(start, start + _AT_ONCE)
            found = best_steps(self._bins(some), self._allowed(some, least_bins, least_side_years))
            of = self._looked_at[some]
            bins[of], gain[of], size[of] = found.bin, found.gain, found.size_percent
            scatter[of], wave[:, of] = found.scatter, found.wave_percent
        return Steps(bins, gain, size, scatter, wave)

    def _bin(self, meter: Ints, years: Floats) -> Ints:
        share = (years - self._from[meter]) / self._span[meter]
        return np.clip(np.floor(share * BINS), 0, BINS - 1).astype(np.int64)

    def _add_lines(
        self, unit: Ints, node: Ints, weight: Floats, years: Floats, inverse: tuple[Floats, Floats, Floats]
    ) -> None:
        """Take off what the units' lines take: of each pair of bins of one meter, wherever it read the same unit."""
        slots = len(self._looked_at)
        pairs, row = np.unique(unit * slots + node // BINS, return_inverse=True)
        used, column = np.unique(node, return_inverse=True)
        offset, both, slope = (each[pairs // slots] for each in inverse)
        shape = (len(pairs), len(used))
        taken = eliminated(weight, years, (row, column), (offset, both, slope), shape).tocoo()
        slot, one = np.divmod(used[taken.coords[0]], BINS)
        other = used[taken.coords[1]] % BINS
        half = one <= other
        self._information[slot[half], _PLACE[one[half], other[half]]] -= taken.data[half].astype(np.float32)

    def _bins(self, some: slice) -> Bins:
        weight, pull, cosine, sine = (
            each[some].astype(np.float64) for each in (self._weight, self._pull, self._cosine, self._sine)
        )
        information = np.empty((len(weight), BINS, BINS))
        information[:, _ROW, _COLUMN] = information[:, _COLUMN, _ROW] = self._information[some]
        information[:, np.arange(BINS), np.arange(BINS)] += weight
        read = np.maximum(weight, 1e-12)
        return Bins(information, pull, weight, cosine / read, sine / read)

    def _allowed(self, some: slice, least_bins: int, side_years: float) -> Bools:
        span = self._span[self._looked_at[some]][:, None]
        before = np.arange(1, BINS) / BINS * span
        enough = (self._weight[some] > 0).sum(axis=1) >= least_bins
        allowed: Bools = enough[:, None] & (before >= side_years) & (span - before >= side_years)
        return allowed
