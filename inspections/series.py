"""From stored inspections to what the trend is fitted to, a range of units at a time."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from calc.arrays import Floats, Ints
from calc.trend import Resistances, RowShape, SeriesBatch, series_of_rows, split_noise
from calc.uncertainty import NORMAL_COVERAGE_FACTOR
from fleet.models import RatingRevision
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
    most = int(units.stages.max(initial=1))
    rows = read_rows(visit_columns(most), source, parameters)
    column = np.searchsorted(units.units, rows["unit"])
    known = units.units[np.minimum(column, len(units) - 1)] == rows["unit"]
    rows, column = rows[known], column[known]
    order = np.lexsort((rows["check"], rows["performed_at"], column))
    rows, column = rows[order], column[order]
    clamps, meters = np.unique(clamp_periods(_of(rows, "ammeter"), _of(rows, "performed_on")), return_inverse=True)
    shape = RowShape.of(column, len(units))
    return Histories(
        shape.spread(_of(rows, "check"), 0),
        shape.spread(_of(rows, "performed_at"), 0),
        clamps,
        _batch(units, rows, column, meters.astype(np.int64)),
    )


def _batch(units: Units, rows: Rows, column: Ints, meters: Ints) -> SeriesBatch:
    most = int(units.stages.max(initial=1))
    levels = _figures(rows, "level", most)
    split = split_noise(
        levels,
        _figures(rows, "u", most) / NORMAL_COVERAGE_FACTOR,
        meter_u_percent=_known(rows, "u_meter") / HUNDREDTHS,
        visit_u_percent=_known(rows, "u_visit") / HUNDREDTHS,
    )
    lower_limit_percent, unit_mohm = _ratings(rows, column, len(units))
    circumstances = _of(rows, "circumstances")
    moved = np.zeros(len(rows), bool)
    moved[1:] = (np.diff(column) == 0) & (np.diff(_of(rows, "installation")) != 0)
    return series_of_rows(
        column,
        _of(rows, "performed_at") / MICROSECONDS_PER_YEAR,
        levels,
        split.own_percent,
        split.shared_percent,
        stages=units.stages,
        lower_limit_percent=np.repeat(lower_limit_percent[:, None], most, axis=1),
        temperature_known=circumstances & TEMPERATURE_KNOWN > 0,
        meters=meters,
        repaired=circumstances & BEGINS > 0,
        moved=moved,
        resistances=_resistances(rows, column, circumstances, unit_mohm),
    )


def _resistances(rows: Rows, column: Ints, circumstances: Ints, unit_mohm: Floats) -> Resistances | None:
    supply, u_supply, ground, u_ground = (_known(rows, name) / MICROOHM_PER_MILLIOHM for name in RESISTANCES)
    # An alternator at idle holds the voltage otherwise than at high idle: only the state that is usual for the unit.
    idle, high_idle = (circumstances & state > 0 for state in (IDLE, HIGH_IDLE))
    times_idle, times_high = (np.bincount(column[state], minlength=len(unit_mohm)) for state in (idle, high_idle))
    alike = np.where((times_high > times_idle)[column], high_idle, idle)
    supply = np.where(alike, supply, np.nan)
    if np.isnan(supply).all() and np.isnan(ground).all():
        return None
    # A straight line through two exact points has no scatter; no resistance is known better than to a microohm.
    least = 0.5 / MICROOHM_PER_MILLIOHM
    u_supply, u_ground = (np.maximum(u / NORMAL_COVERAGE_FACTOR, least) for u in (u_supply, u_ground))
    return Resistances(supply, u_supply, ground, u_ground, unit_mohm)


def _ratings(rows: Rows, column: Ints, units: int) -> tuple[Floats, Floats]:
    """Return each unit's lower limit [%] and its whole resistance [mΩ] under the rating of its newest check."""
    ratings = _of(rows, "rating")
    figures = {
        pk: (np.nan if tolerance is None else 100.0 - tolerance, 1000.0 * (reference_v or system_v) / sum(rated_a))
        for pk, tolerance, reference_v, system_v, rated_a in RatingRevision.objects.filter(
            pk__in=np.unique(ratings).tolist()
        ).values_list("pk", "tolerance_lower_percent", "reference_voltage_v", "system_voltage_v", "rated_currents_a")
    }
    newest = np.full(units, -1)
    newest[column] = ratings
    found = np.full((2, units), np.nan)
    found[1] = 1.0
    for pk, of_rating in figures.items():
        found[:, newest == pk] = np.array(of_rating)[:, None]
    return found[0], found[1]


def _of(rows: Rows, name: str) -> Ints:
    return rows[name].astype(np.int64)


def _known(rows: Rows, name: str) -> Floats:
    figures = rows[name].astype(np.float64)
    figures[figures == NOTHING] = np.nan
    return figures


def _figures(rows: Rows, name: str, stages: int) -> Floats:
    return np.stack([_known(rows, f"{name}_{stage}") for stage in range(1, stages + 1)], axis=1) / HUNDREDTHS
