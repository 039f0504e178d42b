"""The visits of a whole fleet, read once and put down in a file, so that they can be gone through again and again."""

from collections.abc import Callable, Iterable, Iterator
from tempfile import TemporaryFile
from typing import IO

import numpy as np
import numpy.typing as npt

from calc.trend import MeterVisits

# 24 bytes a visit; what is read back the first time is what is read back later.
_VISIT = np.dtype([("unit", "<i4"), ("meter", "<i4"), ("years", "<f8"), ("value_percent", "<f4"), ("variance", "<f4")])


class VisitSpool:
    """The visits of ranges of units, each read from its source the first time only."""

    def __init__(self, source: Callable[[], Iterable[MeterVisits]]) -> None:
        """Take where the visits come from."""
        self._source = source
        self._file: IO[bytes] = TemporaryFile()  # noqa: SIM115 - closed with the spool
        self._units: list[int] | None = None

    def __enter__(self) -> "VisitSpool":
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def __call__(self) -> Iterator[MeterVisits]:
        """Return the visits of every range, in the same order each time."""
        return self._first_time() if self._units is None else self._again(self._units)

    def _first_time(self) -> Iterator[MeterVisits]:
        units = []
        for visits in self._source():
            rows = np.empty(len(visits.unit), _VISIT)
            for name in _VISIT.names or ():
                rows[name] = getattr(visits, name)
            np.save(self._file, rows)
            units.append(visits.units)
            yield _visits(rows, visits.units)
        self._units = units

    def _again(self, units: list[int]) -> Iterator[MeterVisits]:
        self._file.seek(0)
        for count in units:
            yield _visits(np.load(self._file), count)


def _visits(rows: npt.NDArray[np.void], units: int) -> MeterVisits:
    return MeterVisits(
        unit=rows["unit"].astype(np.int64),
        meter=rows["meter"].astype(np.int64),
        years=rows["years"].astype(np.float64),
        value_percent=rows["value_percent"].astype(np.float64),
        variance=rows["variance"].astype(np.float64),
        units=units,
    )
