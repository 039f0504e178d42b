"""The checks of some units as they were read, and their columns as arrays: every unit's own, in the order of time."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Floats, Ints
from calc.trend import RowShape
from inspections.derived import HUNDREDTHS
from inspections.packed import NOTHING, Column, Rows

TEMPERATURE_KNOWN, BEGINS, IDLE, HIGH_IDLE = 1, 2, 4, 8
# A check that proves a repair, and the first of a unit, begin a new baseline.  With the engine off the supply itself
# is not checked.
_CIRCUMSTANCES = (
    f"CASE WHEN v.coil_temperature_method = 'unknown' THEN 0 ELSE {TEMPERATURE_KNOWN} END"
    f" + CASE WHEN v.purpose IN ('retest', 'first') THEN {BEGINS} ELSE 0 END"
    f" + CASE v.engine_state WHEN 'idle' THEN {IDLE} WHEN 'high_idle' THEN {HIGH_IDLE} ELSE 0 END"
)
RESISTANCES = ("upstream_uohm", "u_upstream_uohm", "shared_ground_uohm", "u_shared_ground_uohm")
# Histories of up to so many checks lie side by side; a longer one beside those of at most twice its length.
SHORT_HISTORY = 16
_LENGTHS = SHORT_HISTORY << np.arange(40)
# So many places in an array of visits and units at most, unless a single history has more: 10,000 short ones.
MOST_PLACES = 10_000 * SHORT_HISTORY


def visit_columns(stages: int) -> list[Column]:
    """Return what the trend reads of a check `v` of an installation `i`."""
    figures = [f"{name}_{stage}" for name in ("level", "u") for stage in range(1, stages + 1)]
    return [
        Column("check", "v.id", "big"),
        Column("unit", "i.retarder_id", "big"),
        Column("installation", "i.id", "big"),
        Column("performed_at", "v.performed_at", "instant"),
        Column("performed_on", "v.performed_on", "day"),
        Column("ammeter", "v.ammeter_id", "big"),
        Column("rating", "v.rating_revision_id", "big"),
        Column("circumstances", _CIRCUMSTANCES),
        *(Column(name, f"v.{name}", nullable=True) for name in (*figures, "u_meter", "u_visit", *RESISTANCES)),
    ]


def groups_alike(visits: Ints) -> Iterator[Ints]:
    """Return the places of units in groups, so that arrays of visits and units are not made as long as the longest.

    Parameters
    ----------
    visits : ndarray of int, shape (units,)
        How many checks each unit has.

    Examples
    --------
    >>> [group.tolist() for group in groups_alike(np.array([12, 3000, 4, 40]))]
    [[0, 2], [3], [1]]
    """
    lengths = _LENGTHS[np.searchsorted(_LENGTHS, visits)]
    for length in np.unique(lengths):
        alike = np.flatnonzero(lengths == length)
        at_once = max(MOST_PLACES // int(length), 1)
        yield from np.array_split(alike, -(-len(alike) // at_once))


@dataclass(frozen=True, slots=True)
class CheckTable:
    """Rows in the order in which they were read, which of them belong here, and where each stands in a batch."""

    rows: Rows
    chosen: Ints | slice
    shape: RowShape

    @classmethod
    def of_units(cls, units: Ints, rows: Rows) -> "CheckTable":
        """Return the rows of units, which are in the order of their keys: each unit's in the order of time."""
        unit = rows["unit"].astype(np.int64)
        column = np.searchsorted(units, unit)
        known = units[np.minimum(column, len(units) - 1)] == unit
        if not known.all():
            rows, column = rows[known], column[known]
        order = np.lexsort((rows["check"].astype(np.int64), rows["performed_at"].astype(np.int64), column))
        in_order = RowShape.of(column[order], len(units))
        visit = np.empty_like(in_order.visit)
        visit[order] = in_order.visit
        return cls(rows, slice(None), replace(in_order, visit=visit, installation=column))

    def of_places(self, places: Ints) -> "CheckTable":
        """Return the rows of some of the units, whose places rise, numbered anew in their order."""
        if len(places) == self.shape.installations:
            return self
        number = np.full(self.shape.installations, -1)
        number[places] = np.arange(len(places))
        installation = number[self.shape.installation]
        chosen = np.flatnonzero(installation >= 0)
        visit = self.shape.visit[chosen]
        shape = RowShape(visit, installation[chosen], int(visit.max(initial=-1)) + 1, len(places))
        return CheckTable(self.rows, chosen, shape)

    @property
    def visits(self) -> Ints:
        """Return how many checks each unit has."""
        return np.bincount(self.shape.installation, minlength=self.shape.installations)

    def of(self, name: str) -> Ints:
        """Return a column, a whole number a row."""
        return self.rows[name][self.chosen].astype(np.int64)

    def spread(self, name: str, absent: int) -> Ints:
        """Return a column, shape (visits, units)."""
        return self.shape.spread(self.of(name), absent)

    def newest(self, name: str) -> Ints:
        """Return each unit's last entry of a column, 0 where it has none."""
        last = self.shape.visit == self.visits[self.shape.installation] - 1
        found = np.zeros(self.shape.installations, np.int64)
        found[self.shape.installation[last]] = self.of(name)[last]
        return found

    def known(self, name: str) -> Floats:
        """Return a column of shape (visits, units), NaN where nothing is known."""
        figures = self.rows[name][self.chosen].astype(np.float64)
        figures[figures == NOTHING] = np.nan
        return self.shape.spread(figures, np.nan)

    def figures(self, name: str, stages: int) -> Floats:
        """Return the figures of the stages, shape (visits, stages, units)."""
        of_stages = np.empty((self.shape.visits, stages, self.shape.installations))
        for stage in range(stages):
            of_stages[:, stage] = self.known(f"{name}_{stage + 1}")
        of_stages /= HUNDREDTHS
        return of_stages
