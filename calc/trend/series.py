"""What the trend is fitted to: the levels of many installations over time, and how well each is known."""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from calc.arrays import Bools, Floats, Ints
from calc.errors import require_range

MOST_STAGES = 8
UNKNOWN_METER = -1
HIGHEST_LEVEL_PERCENT = 1e9
LONGEST_HISTORY_YEARS = 1e4

Entry = TypeVar("Entry", bound=np.generic)


@dataclass(frozen=True, slots=True)
class Resistances:
    """Resistance outside the coils, upstream of the supply stud and in the ground that all stages share.

    Only readings taken alike (same engine state) may stand in one series.  They start anew where the unit moves to
    another vehicle.  `unit_mohm` turns a resistance into the share of current it costs.

    Attributes
    ----------
    supply_mohm, u_supply_mohm, ground_mohm, u_ground_mohm : ndarray, shape (visits, installations)
        Value and standard uncertainty, NaN where not read. [mΩ]
    unit_mohm : ndarray, shape (installations,)
        Resistance of the whole unit, all stages on, at rated current. [mΩ]
    """

    supply_mohm: Floats
    u_supply_mohm: Floats
    ground_mohm: Floats
    u_ground_mohm: Floats
    unit_mohm: Floats


@dataclass(frozen=True, slots=True)
class SeriesBatch:
    """The checks of many installations, each in the order of time; rows after an installation's last check are NaN.

    Attributes
    ----------
    stages : ndarray of int, shape (installations,)
        Stages of the unit, 1 to 8.
    years : ndarray, shape (visits, installations)
        Time of each check since any fixed instant, rising. [year]
    levels_percent : ndarray, shape (visits, stages, installations)
        Normalised current over rated current, NaN where a stage was not read. [%]
    u_own_percent : ndarray, shape (visits, stages, installations)
        Standard uncertainty of each level from what is its own: counts, resolution, repeatability. [%]
    u_shared_percent : ndarray, shape (visits, installations)
        Standard uncertainty from what all stages of a visit share and the next visit does not: coil temperature,
        voltmeter.  What stays with a meter belongs to its meter effect, not here. [%]
    temperature_known : ndarray of bool, shape (visits, installations)
        Whether the coil temperature was found out; a visit without it says nothing about all stages together.
    meters : ndarray of int, shape (visits, installations)
        Which clamp read the visit; one clamp between two calibrations is one meter, −1 is unknown.
    repaired : ndarray of bool, shape (visits, installations)
        Whether a repair or a new unit makes this visit the first of a new baseline.
    moved : ndarray of bool, shape (visits, installations)
        Whether this visit is the first after the unit was fitted to another vehicle.
    lower_limit_percent : ndarray, shape (stages, installations)
        Lower limit of the tolerance, NaN where there is none. [%]
    resistances : Resistances, optional
        Supply and shared ground, where they were read.
    """

    stages: Ints
    years: Floats
    levels_percent: Floats
    u_own_percent: Floats
    u_shared_percent: Floats
    temperature_known: Bools
    meters: Ints
    repaired: Bools
    moved: Bools
    lower_limit_percent: Floats
    resistances: Resistances | None = None

    @property
    def visits(self) -> int:
        """Return the length of the longest history."""
        return len(self.years)

    @property
    def installations(self) -> int:
        """Return the number of installations."""
        return len(self.stages)

    def of(self, columns: Ints | slice) -> "SeriesBatch":
        """Return the batch of some installations, without the rows that none of them fills."""
        stages = self.stages[columns]
        visits = int(np.isfinite(self.years[:, columns]).sum(axis=0).max(initial=0))
        most = int(stages.max(initial=1))
        resistances = self.resistances
        return SeriesBatch(
            stages=stages,
            years=self.years[:visits, columns],
            levels_percent=self.levels_percent[:visits, :most, columns],
            u_own_percent=self.u_own_percent[:visits, :most, columns],
            u_shared_percent=self.u_shared_percent[:visits, columns],
            temperature_known=self.temperature_known[:visits, columns],
            meters=self.meters[:visits, columns],
            repaired=self.repaired[:visits, columns],
            moved=self.moved[:visits, columns],
            lower_limit_percent=self.lower_limit_percent[:most, columns],
            resistances=None if resistances is None else _resistances_of(resistances, visits, columns),
        )

    def require_plausible(self) -> None:
        """Refuse stages, times and uncertainties no series can have.

        Raises
        ------
        OutOfRange
            Names the quantity, its value and the permitted range.
        """
        require_range("stages", self.stages, 1, MOST_STAGES)
        require_range("years", self.years, -LONGEST_HISTORY_YEARS, LONGEST_HISTORY_YEARS, absent_allowed=True)
        gaps = np.diff(self.years, axis=0)
        require_range("years since the check before", gaps, 0.0, LONGEST_HISTORY_YEARS, absent_allowed=True)
        _require_percent("level_percent", self.levels_percent, lowest=-HIGHEST_LEVEL_PERCENT)
        read = np.isfinite(self.levels_percent)
        _require_percent("u_own_percent", np.where(read, self.u_own_percent, np.nan), lowest=np.nextafter(0.0, 1.0))
        _require_percent("u_shared_percent", self.u_shared_percent, lowest=0.0)


def series_of_rows(
    installation: Ints,
    years: Floats,
    levels_percent: Floats,
    u_own_percent: Floats,
    u_shared_percent: Floats,
    *,
    stages: Ints,
    lower_limit_percent: Floats,
    temperature_known: Bools | None = None,
    meters: Ints | None = None,
    repaired: Bools | None = None,
    moved: Bools | None = None,
    resistances: Resistances | None = None,
) -> SeriesBatch:
    """Return rows, one a visit and sorted by installation and time, as a batch.

    Parameters
    ----------
    installation : ndarray of int, shape (rows,)
        Number of the installation, 0 to installations − 1, never falling.
    years : ndarray, shape (rows,)
        Time of the visit. [year]
    levels_percent, u_own_percent : ndarray, shape (rows, stages)
        As in `SeriesBatch`. [%]
    u_shared_percent : ndarray, shape (rows,)
        As in `SeriesBatch`. [%]
    stages : ndarray of int, shape (installations,)
        Stages of each unit.
    lower_limit_percent : ndarray, shape (installations, stages)
        Lower limits. [%]
    temperature_known, meters, repaired, moved : ndarray, shape (rows,), optional
        As in `SeriesBatch`; absent: known, one meter, never repaired, never moved.
    resistances : Resistances, optional
        As in `SeriesBatch`, its values and uncertainties of shape (rows,).

    Examples
    --------
    >>> batch = series_of_rows(
    ...     np.array([0, 0, 1]), np.array([0.0, 0.5, 0.2]), np.array([[100.0], [99.0], [101.0]]),
    ...     np.ones((3, 1)), np.ones(3), stages=np.array([1, 1]), lower_limit_percent=np.full((2, 1), 90.0))
    >>> batch.years.tolist()
    [[0.0, 0.2], [0.5, nan]]
    """
    shape = RowShape.of(installation, len(stages))
    rows = len(years)
    return SeriesBatch(
        stages=stages,
        years=shape.spread(years, np.nan),
        levels_percent=shape.spread(levels_percent, np.nan),
        u_own_percent=shape.spread(u_own_percent, np.nan),
        u_shared_percent=shape.spread(u_shared_percent, np.nan),
        temperature_known=shape.spread(np.ones(rows, bool) if temperature_known is None else temperature_known, False),
        meters=shape.spread(np.zeros(rows, np.int64) if meters is None else meters, UNKNOWN_METER),
        repaired=shape.spread(np.zeros(rows, bool) if repaired is None else repaired, False),
        moved=shape.spread(np.zeros(rows, bool) if moved is None else moved, False),
        lower_limit_percent=np.ascontiguousarray(lower_limit_percent.T),
        resistances=None if resistances is None else _spread_resistances(resistances, shape),
    )


@dataclass(frozen=True, slots=True)
class RowShape:
    """Where each row of a list of visits stands in a batch."""

    visit: Ints
    installation: Ints
    visits: int
    installations: int

    @classmethod
    def of(cls, installation: Ints, installations: int) -> "RowShape":
        """Return the places of rows that are sorted by installation."""
        counts = np.bincount(installation, minlength=installations)
        starts = np.cumsum(counts) - counts
        visit = np.arange(len(installation)) - starts[installation]
        return cls(visit, installation, int(counts.max(initial=0)), installations)

    def spread(self, rows: npt.NDArray[Entry], absent: Entry | float | bool) -> npt.NDArray[Entry]:
        """Return rows, (rows,) or (rows, stages), as (visits, installations) or (visits, stages, installations)."""
        full = np.full((self.visits, *rows.shape[1:], self.installations), absent, dtype=rows.dtype)
        if rows.ndim == 1:
            full.reshape(-1)[self.visit * self.installations + self.installation] = rows
        else:
            full[self.visit, :, self.installation] = rows
        return full


def _resistances_of(resistances: Resistances, visits: int, columns: Ints | slice) -> Resistances:
    return Resistances(
        resistances.supply_mohm[:visits, columns],
        resistances.u_supply_mohm[:visits, columns],
        resistances.ground_mohm[:visits, columns],
        resistances.u_ground_mohm[:visits, columns],
        resistances.unit_mohm[columns],
    )


def _spread_resistances(resistances: Resistances, shape: RowShape) -> Resistances:
    return Resistances(
        shape.spread(resistances.supply_mohm, np.nan),
        shape.spread(resistances.u_supply_mohm, np.nan),
        shape.spread(resistances.ground_mohm, np.nan),
        shape.spread(resistances.u_ground_mohm, np.nan),
        resistances.unit_mohm,
    )


def _require_percent(quantity: str, values: Floats, lowest: float) -> None:
    require_range(quantity, values, lowest, HIGHEST_LEVEL_PERCENT, absent_allowed=True)
