"""From stored inspections to what the trend is fitted to, a range of units at a time."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend import UNKNOWN_METER, Resistances, SeriesBatch, split_noise
from calc.uncertainty import NORMAL_COVERAGE_FACTOR
from fleet.models import NOT_IDENTIFIED, RatingRevision
from inspections.check_table import (
    BEGINS,
    HIGH_IDLE,
    IDLE,
    RESISTANCES,
    TEMPERATURE_KNOWN,
    CheckTable,
    groups_alike,
    visit_columns,
)
from inspections.clamp_periods import clamp_periods
from inspections.derived import HUNDREDTHS, MICROOHM_PER_MILLIOHM
from inspections.packed import MICROSECONDS_PER_DAY, Column, Rows, read_rows

MICROSECONDS_PER_YEAR = 365.25 * MICROSECONDS_PER_DAY
UNIT_COLUMNS = [
    Column("unit", "i.retarder_id", "big"),
    Column("installation", "i.id", "big"),
    Column("stages", "k.stages"),
    Column("mark", "n.mark", "big"),
]


@dataclass(frozen=True, slots=True)
class Units:
    """Units in service in the order of their keys, each with where it is fitted, and its mark on the work list."""

    units: Ints
    installations: Ints
    stages: Ints
    marks: Ints

    @classmethod
    def of(cls, rows: Rows) -> "Units":
        """Return what was read with `UNIT_COLUMNS`, in any order."""
        rows = rows[np.argsort(rows["unit"])]
        return cls(*(rows[column.name].astype(np.int64) for column in UNIT_COLUMNS))

    def __len__(self) -> int:
        return len(self.units)

    def of_places(self, places: Ints) -> "Units":
        """Return some of the units."""
        return Units(self.units[places], self.installations[places], self.stages[places], self.marks[places])

    def unmoved(self, marks: Mapping[int, int]) -> Ints:
        """Return the places of the units whose marks are still these."""
        pairs = enumerate(zip(self.units.tolist(), self.marks.tolist(), strict=True))
        return np.array([place for place, (unit, mark) in pairs if marks.get(unit) == mark], np.int64)


@dataclass(frozen=True, slots=True)
class Histories:
    """The checks of some units, oldest first, beside the batch made of them.

    `checks` and `performed_us` have shape (visits, units): the key of each check, and when it was, in microseconds
    since 2000; `clamps` are the keys of the clamp periods that number the batch's meters.
    """

    units: Units
    checks: Ints
    performed_us: Ints
    clamps: Ints
    batch: SeriesBatch


@dataclass(frozen=True, slots=True)
class Checks:
    """The checks of some units with all that has to be asked for beside them: what follows is arithmetic.

    `meters` has shape (rows,) and numbers the clamp periods whose keys are `clamps`; lower limit and resistance have
    shape (units,).
    """

    units: Units
    table: CheckTable
    clamps: Ints
    meters: Ints
    lower_limit_percent: Floats
    unit_mohm: Floats

    def histories(self) -> Iterator[Histories]:
        """Return the series in groups of about the same length: a single long one lengthens no others."""
        for places in groups_alike(self.table.visits):
            yield self.histories_of(places)

    def histories_of(self, places: Ints) -> Histories:
        """Return the series of some of the units."""
        units, table = self.units.of_places(places), self.table.of_places(places)
        performed_us = table.spread("performed_at", 0)
        meters = table.shape.spread(self.meters[table.chosen], UNKNOWN_METER)
        batch = _batch(units, table, performed_us, meters, self.lower_limit_percent[places], self.unit_mohm[places])
        return Histories(units, table.spread("check", 0), performed_us, self.clamps, batch)


def checks_of(units: Units, source: str, parameters: list[int]) -> Checks:
    """Return the checks of some units from a source; a unit's history follows it between vehicles."""
    rows = read_rows(visit_columns(int(units.stages.max(initial=1))), source, parameters)
    table = CheckTable.of_units(units.units, rows)
    clamps, meters = np.unique(clamp_periods(table.of("ammeter"), table.of("performed_on")), return_inverse=True)
    return Checks(units, table, clamps, meters.astype(np.int64), *_ratings(table.newest("rating")))


def histories_of(units: Units, source: str, parameters: list[int]) -> Histories:
    """Return the series of few units together, however long each is."""
    return checks_of(units, source, parameters).histories_of(np.arange(len(units)))


def _batch(
    units: Units, table: CheckTable, performed_us: Ints, meters: Ints, lower_limit_percent: Floats, unit_mohm: Floats
) -> SeriesBatch:
    most = int(units.stages.max(initial=1))
    levels = table.figures("level", most)
    split = split_noise(
        levels,
        table.figures("u", most) / NORMAL_COVERAGE_FACTOR,
        meter_u_percent=table.known("u_meter") / HUNDREDTHS,
        visit_u_percent=table.known("u_visit") / HUNDREDTHS,
    )
    circumstances, fitted = table.spread("circumstances", 0), table.spread("installation", 0)
    checked: Bools = np.arange(table.shape.visits)[:, None] < table.visits
    moved = np.zeros(checked.shape, bool)
    moved[1:] = checked[1:] & (fitted[1:] != fitted[:-1])
    return SeriesBatch(
        stages=units.stages,
        years=np.where(checked, performed_us / MICROSECONDS_PER_YEAR, np.nan),
        levels_percent=levels,
        u_own_percent=split.own_percent,
        u_shared_percent=split.shared_percent,
        temperature_known=circumstances & TEMPERATURE_KNOWN > 0,
        meters=meters,
        repaired=circumstances & BEGINS > 0,
        moved=moved,
        lower_limit_percent=np.repeat(lower_limit_percent[None], most, axis=0),
        resistances=_resistances(table, circumstances, unit_mohm),
    )


def _resistances(table: CheckTable, circumstances: Ints, unit_mohm: Floats) -> Resistances | None:
    supply, u_supply, ground, u_ground = (table.known(name) / MICROOHM_PER_MILLIOHM for name in RESISTANCES)
    # An alternator at idle holds the voltage otherwise than at high idle: only the state that is usual for the unit.
    idle, high_idle = (circumstances & state > 0 for state in (IDLE, HIGH_IDLE))
    mostly_high = np.count_nonzero(high_idle, axis=0) > np.count_nonzero(idle, axis=0)
    supply[~np.where(mostly_high, high_idle, idle)] = np.nan
    if np.isnan(supply).all() and np.isnan(ground).all():
        return None
    # A straight line through two exact points has no scatter; no resistance is known better than to a microohm.
    least = 0.5 / MICROOHM_PER_MILLIOHM
    u_supply, u_ground = (np.maximum(u / NORMAL_COVERAGE_FACTOR, least) for u in (u_supply, u_ground))
    return Resistances(supply, u_supply, ground, u_ground, unit_mohm)


def _ratings(ratings: Ints) -> tuple[Floats, Floats]:
    """Return the lower limit [%] and the whole resistance [mΩ] under each of these ratings."""
    found = np.full((2, len(ratings)), np.nan)
    found[1] = 1.0
    # A unit without a rating has no limit and no levels either.
    identified = RatingRevision.objects.exclude(NOT_IDENTIFIED)
    for pk, tolerance, reference_v, system_v, rated_a in identified.filter(
        pk__in=np.unique(ratings).tolist()
    ).values_list("pk", "tolerance_lower_percent", "reference_voltage_v", "system_voltage_v", "rated_currents_a"):
        lower_percent = np.nan if tolerance is None else 100.0 - tolerance
        found[:, ratings == pk] = [[lower_percent], [1000.0 * (reference_v or system_v) / sum(rated_a)]]
    return found[0], found[1]
