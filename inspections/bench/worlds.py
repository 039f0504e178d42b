"""Invented fleets on which the trend is measured: healthy or failing, with noise that is as assumed or worse.

Levels in percent of rated, two to six checks a year, gaps that scatter by half.  Nothing here is field data.
"""

from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Bools, Floats
from calc.trend.series import SeriesBatch

FIRST_FAULT_YEAR = 2.0
CHECKS_PER_YEAR = (2.0, 6.0)
LOWER_LIMIT_PERCENT = 85.0
STAGE_OFFSET_SD_PERCENT = 2.0
HEALTHY_DRIFT_SD_PERCENT_PER_YEAR = 0.15


@dataclass(frozen=True, slots=True)
class World:
    """Noise of a fleet: what is assumed of it, how installations differ, and how often a reading is wrong.

    `stage_sd_percent` is a stage's own noise, `shared_sd_percent` what the stages of a visit share; both vary from one
    installation to the next by a lognormal factor.
    """

    stage_sd_percent: float
    shared_sd_percent: float
    spread: float = 0.25
    gross_errors: float = 0.005

    def harsh(self) -> "World":
        """Return the same fleet with installations that differ more, and twice the wrong readings."""
        return replace(self, spread=0.4, gross_errors=0.01)


@dataclass(frozen=True, slots=True)
class Fault:
    """What happens to the first stage, or to all stages, two years in."""

    percent_per_year: float = 0.0
    step_percent: float = 0.0
    all_stages: bool = False

    def loss_percent(self, years: Floats) -> Floats:
        """Return what is lost at given times.  [%]"""
        since = years - FIRST_FAULT_YEAR
        loss: Floats = self.percent_per_year * np.maximum(since, 0.0) + self.step_percent * (since >= 0)
        return loss


HEALTHY = Fault()


@dataclass(frozen=True, slots=True)
class Simulated:
    """A fleet's checks, and what is true of it: offset and drift, shape (stages, installations), and its fault."""

    series: SeriesBatch
    offset_percent: Floats
    drift_percent_per_year: Floats
    fault: Fault

    def crossing_years(self, limit_percent: float) -> Floats:
        """Return when the first stage truly falls below a limit by a fault that goes on, shape (installations,)."""
        speed = self.fault.percent_per_year - self.drift_percent_per_year[0]
        at_fault = self.offset_percent[0] + self.drift_percent_per_year[0] * FIRST_FAULT_YEAR
        crossing: Floats = FIRST_FAULT_YEAR + (at_fault - limit_percent) / speed
        return crossing


def fleet(
    world: World,
    generator: np.random.Generator,
    *,
    installations: int,
    stages: int,
    history_years: float = 6.0,
    fault: Fault = HEALTHY,
    checks_per_year: tuple[float, float] = CHECKS_PER_YEAR,
) -> Simulated:
    """Return the checks of an invented fleet, and what is true of it."""
    years = _visit_times(generator, installations, history_years, checks_per_year)
    offset = generator.normal(100.0, STAGE_OFFSET_SD_PERCENT, (stages, installations))
    drift = generator.normal(0.0, HEALTHY_DRIFT_SD_PERCENT_PER_YEAR, (stages, installations))
    truth = offset + drift * years[:, None]
    failing = slice(None) if fault.all_stages else slice(0, 1)
    truth[:, failing] -= fault.loss_percent(years)[:, None]
    levels = truth + _noise(world, generator, truth.shape)
    return Simulated(batch_of(years, levels, world, lower_limit_percent=LOWER_LIMIT_PERCENT), offset, drift, fault)


def batch_of(years: Floats, levels_percent: Floats, world: World, *, lower_limit_percent: float) -> SeriesBatch:
    """Return levels as a batch of units that one meter reads and nobody repairs or moves."""
    stages, installations = levels_percent.shape[1:]
    never: Bools = np.zeros(years.shape, bool)
    return SeriesBatch(
        stages=np.full(installations, stages),
        years=years,
        levels_percent=levels_percent,
        u_own_percent=np.full(levels_percent.shape, world.stage_sd_percent),
        u_shared_percent=np.full(years.shape, world.shared_sd_percent),
        temperature_known=~never,
        meters=np.zeros(years.shape, np.int64),
        repaired=never,
        moved=never,
        lower_limit_percent=np.full((stages, installations), lower_limit_percent),
    )


def _visit_times(
    generator: np.random.Generator, installations: int, history_years: float, checks_per_year: tuple[float, float]
) -> Floats:
    per_year = generator.uniform(*checks_per_year, installations)
    most = int(history_years * checks_per_year[1] * 1.8)
    gaps = generator.gamma(4.0, 1.0 / (4.0 * per_year), (most, installations))
    years = np.cumsum(gaps, axis=0) - gaps[:1]
    years[years > history_years] = np.nan
    return years[: int(np.isfinite(years).sum(axis=0).max())]


def _noise(world: World, generator: np.random.Generator, shape: tuple[int, ...]) -> Floats:
    visits, _, installations = shape
    factor = np.exp(generator.normal(0.0, world.spread, installations))
    own = generator.standard_normal(shape) * (world.stage_sd_percent * factor)
    shared = generator.standard_normal((visits, installations)) * (world.shared_sd_percent * factor)
    noise: Floats = own + shared[:, None] + _gross_errors(generator, shape, world.gross_errors)
    return noise


def _gross_errors(generator: np.random.Generator, shape: tuple[int, ...], share: float) -> Floats:
    errors = np.zeros(shape)
    wrong = generator.random(shape) < share
    size = generator.uniform(8.0, 15.0, int(wrong.sum()))
    errors[wrong] = np.where(generator.random(size.shape) < 0.7, -size, size)
    return errors
