"""A meter's accuracy at a reading: one set of figures, or those of the smallest range that holds it."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.errors import RELATIVE_SLACK
from calc.evidence import Meter, MeterRange


class MeterFigures(NamedTuple):
    """What holds at each of some readings; `range_index` is None where no meter of the batch states ranges."""

    accuracy_percent: Floats
    counts_half_width: Floats
    resolution: Floats
    range_index: Ints | None


class RangeColumns(NamedTuple):
    """The ranges of each meter, ascending, padded at the end; arrays of shape (inspections, ranges)."""

    range_max: Floats
    accuracy_percent: Floats
    counts_half_width: Floats
    resolution: Floats


class MeterColumns(NamedTuple):
    """Accuracy of one meter per inspection; `range_max` is NaN where the range is not known."""

    accuracy_percent: Floats
    counts_half_width: Floats
    resolution: Floats
    range_max: Floats
    ranges: RangeColumns | None = None

    def at(self, inspection: Ints, reading: Floats) -> MeterFigures:
        """Return the figures that hold for readings of the inspections named."""
        if self.ranges is None:
            return MeterFigures(
                self.accuracy_percent[inspection], self.counts_half_width[inspection], self.resolution[inspection], None
            )
        index = _smallest_holding(self.ranges.range_max[inspection], reading)
        return MeterFigures(
            self.ranges.accuracy_percent[inspection, index],
            self.ranges.counts_half_width[inspection, index],
            self.ranges.resolution[inspection, index],
            index,
        )


def figures_at(meter: Meter, reading: float) -> Meter | MeterRange:
    """Return what a meter states for one reading.

    Examples
    --------
    >>> clamp = Meter(2.0, 5, 0.1, ranges=(MeterRange(40.0, 1.5, 5, 0.01), MeterRange(400.0, 2.0, 5, 0.1)))
    >>> figures_at(clamp, 36.3).resolution, figures_at(clamp, 72.0).resolution
    (0.01, 0.1)
    """
    if not meter.ranges:
        return meter
    holding = (figures for figures in meter.ranges if abs(reading) <= figures.range_max * (1 + RELATIVE_SLACK))
    return next(holding, meter.ranges[-1])


def half_width_at(meter: Meter, reading: float) -> float:
    """Return the half-width of a meter's accuracy at one reading.

    Examples
    --------
    >>> round(half_width_at(Meter(2.0, 5, 0.1), 34.0), 2)
    1.18
    """
    figures = figures_at(meter, reading)
    return abs(reading) * figures.accuracy_percent / 100 + figures.accuracy_counts * figures.resolution


def range_columns(meters: Sequence[Meter], meter: Ints) -> RangeColumns | None:
    """Return the ranges that hold in each inspection, by which of the meters it was read with; None without any."""
    if not any(each.ranges for each in meters):
        return None
    most = max(len(each.ranges) for each in meters)
    rows = [_padded(each.ranges or (_only_range(each),), most) for each in meters]
    figures = np.array(rows, dtype=np.float64)[meter]
    return RangeColumns(figures[..., 0], figures[..., 1], figures[..., 2], figures[..., 3])


def highest_reading(meter: Meter) -> float | None:
    """Return the reading above which a meter is over range.

    Examples
    --------
    >>> highest_reading(Meter(2.0, 5, 0.1, ranges=(MeterRange(40.0, 1.5, 5, 0.01),)))
    40.0
    """
    if meter.range_max is None and meter.ranges:
        return meter.ranges[-1].range_max
    return meter.range_max


def crosses(own: MeterFigures, before: MeterFigures) -> Bools | None:
    """Return whether two readings were taken in different ranges, None where no ranges are stated."""
    if own.range_index is None or before.range_index is None:
        return None
    different: Bools = own.range_index != before.range_index
    return different


def _smallest_holding(range_max: Floats, reading: Floats) -> Ints:
    holds = np.abs(reading)[:, None] <= range_max * (1 + RELATIVE_SLACK)
    holds[:, -1] = True
    index: Ints = holds.argmax(axis=1)
    return index


def _only_range(meter: Meter) -> MeterRange:
    return MeterRange(np.inf, meter.accuracy_percent, meter.accuracy_counts, meter.resolution)


def _padded(ranges: Sequence[MeterRange], most: int) -> list[tuple[float, float, float, float]]:
    rows = [(r.range_max, r.accuracy_percent, r.accuracy_counts * r.resolution, r.resolution) for r in ranges]
    return rows + [rows[-1]] * (most - len(rows))
