"""From stored inspections to what the trend is fitted to, a range of units at a time."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend import UNKNOWN_METER, Resistances, RowShape, SeriesBatch, split_noise
from calc.uncertainty import NORMAL_COVERAGE_FACTOR
from fleet.models import NOT_IDENTIFIED, RatingRevision
from inspections.clamp_periods import clamp_periods
from inspections.derived import HUNDREDTHS, MICROOHM_PER_MILLIOHM
from inspections.packed import MICROSECONDS_PER_DAY, NOTHING, Column, Rows, read_rows

MICROSECONDS_PER_YEAR = 365.25 * MICROSECONDS_PER_DAY
TEMPERATURE_KNOWN, BEGINS, IDLE, HIGH_IDLE = 1, 2, 4, 8
# A check that proves a repair, and the first of a unit, begin a new baseline.  With the engine off the supply itself
# is not checked.
_CIRCUMSTANCES = (
    f"CASE WHEN v.coil_temperature_method = 'unknown' THEN 0 ELSE {TEMPERATURE_KNOWN} END"
    f" + CASE WHEN v.purpose IN ('retest', 'first') THEN {BEGINS} ELSE 0 END"
    f" + CASE v.engine_state WHEN 'idle' THEN {IDLE} WHEN 'high_idle' THEN {HIGH_IDLE} ELSE 0 END"
)
RESISTANCES = ("upstream_uohm", "u_upstream_uohm", "shared_ground_uohm", "u_shared_ground_uohm")
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

    checks: Ints
    performed_us: Ints
    clamps: Ints
    batch: SeriesBatch


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


def histories_of(units: Units, source: str, parameters: list[int]) -> Histories:
    """Return the series of some units from the checks of a source; a unit's history follows it between vehicles."""
    rows = read_rows(visit_columns(int(units.stages.max(initial=1))), source, parameters)
    table = _Table.of_units(units, rows)
    clamps, meters = np.unique(clamp_periods(table.of("ammeter"), table.of("performed_on")), return_inverse=True)
    performed_us = table.spread("performed_at", 0)
    batch = _batch(units, table, performed_us, table.shape.spread(meters.astype(np.int64), UNKNOWN_METER))
    return Histories(table.spread("check", 0), performed_us, clamps, batch)


@dataclass(frozen=True, slots=True)
class _Table:
    """Rows in the order in which they were read, and where each stands in a batch: none is moved but once."""

    rows: Rows
    shape: RowShape

    @classmethod
    def of_units(cls, units: Units, rows: Rows) -> "_Table":
        """Return the rows of these units, each unit's in the order of time."""
        unit = rows["unit"].astype(np.int64)
        column = np.searchsorted(units.units, unit)
        known = units.units[np.minimum(column, len(units) - 1)] == unit
        if not known.all():
            rows, column = rows[known], column[known]
        order = np.lexsort((rows["check"].astype(np.int64), rows["performed_at"].astype(np.int64), column))
        in_order = RowShape.of(column[order], len(units))
        visit = np.empty_like(in_order.visit)
        visit[order] = in_order.visit
        return cls(rows, replace(in_order, visit=visit, installation=column))

    def of(self, name: str) -> Ints:
        """Return a column, a whole number a row."""
        return self.rows[name].astype(np.int64)

    def spread(self, name: str, absent: int) -> Ints:
        """Return a column, shape (visits, units)."""
        return self.shape.spread(self.of(name), absent)

    def known(self, name: str) -> Floats:
        """Return a column of shape (visits, units), NaN where nothing is known."""
        figures = self.rows[name].astype(np.float64)
        figures[figures == NOTHING] = np.nan
        return self.shape.spread(figures, np.nan)

    def figures(self, name: str, stages: int) -> Floats:
        """Return the figures of the stages, shape (visits, stages, units)."""
        of_stages = np.empty((self.shape.visits, stages, self.shape.installations))
        for stage in range(stages):
            of_stages[:, stage] = self.known(f"{name}_{stage + 1}")
        of_stages /= HUNDREDTHS
        return of_stages


def _batch(units: Units, table: _Table, performed_us: Ints, meters: Ints) -> SeriesBatch:
    most = int(units.stages.max(initial=1))
    levels = table.figures("level", most)
    split = split_noise(
        levels,
        table.figures("u", most) / NORMAL_COVERAGE_FACTOR,
        meter_u_percent=table.known("u_meter") / HUNDREDTHS,
        visit_u_percent=table.known("u_visit") / HUNDREDTHS,
    )
    circumstances, fitted = table.spread("circumstances", 0), table.spread("installation", 0)
    visits = np.bincount(table.shape.installation, minlength=len(units))
    checked: Bools = np.arange(table.shape.visits)[:, None] < visits
    lower_limit_percent, unit_mohm = _ratings(table.spread("rating", 0), visits)
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


def _resistances(table: _Table, circumstances: Ints, unit_mohm: Floats) -> Resistances | None:
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


def _ratings(ratings: Ints, visits: Ints) -> tuple[Floats, Floats]:
    """Return each unit's lower limit [%] and its whole resistance [mΩ] under the rating of its newest check."""
    units = np.arange(len(visits))
    newest = ratings[np.maximum(visits - 1, 0), units] if len(ratings) else np.zeros(len(visits), np.int64)
    found = np.full((2, len(visits)), np.nan)
    found[1] = 1.0
    # A unit without a rating has no limit and no levels either.
    identified = RatingRevision.objects.exclude(NOT_IDENTIFIED)
    for pk, tolerance, reference_v, system_v, rated_a in identified.filter(
        pk__in=np.unique(newest).tolist()
    ).values_list("pk", "tolerance_lower_percent", "reference_voltage_v", "system_voltage_v", "rated_currents_a"):
        lower_percent = np.nan if tolerance is None else 100.0 - tolerance
        found[:, newest == pk] = [[lower_percent], [1000.0 * (reference_v or system_v) / sum(rated_a)]]
    return found[0], found[1]
