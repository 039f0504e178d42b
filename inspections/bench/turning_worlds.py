"""Invented depots whose clamps are used as they come: one may turn low, or all their units may seem to."""

from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.series import UNKNOWN_METER, SeriesBatch
from inspections.bench.worlds import World, fleet

EFFECT_SD_PERCENT = 0.3
# Weather that nobody has put down goes together from one fortnight to the next so far.
WEATHER_LASTS, FORTNIGHTS_PER_YEAR = 0.7, 26
# How much the yearly wave of one depot differs from year to year, as the standard deviation of its logarithm.
WAVE_SPREAD = 0.4
ROUND_SD_YEARS, BATCH_SD_YEARS = 0.02, 0.1
FASTEST_LOSS, SLOWEST_LOSS = 5.0, 2.0


@dataclass(frozen=True, slots=True)
class Depots:
    """Depots alike: their units and clamps, and what happens in each at a time of its own.

    Attributes
    ----------
    units, clamps : int
        Of each depot.
    checks_per_year : tuple of float
        From the unit least to the one most often checked.
    wave_percent, weather_percent : float
        What a poorly known temperature does to all units of a depot: amplitude of the yearly wave, and standard
        deviation of the weather beside it. [%]
    losing_share : float
        Share of units that truly lose current in all stages.
    uneven : bool
        Whether the first clamp reads four of five visits.
    in_rounds : bool
        Whether all units of a depot are checked in the same days.
    foreign_share : float
        Share of visits that another clamp of the depot reads than the unit's own.
    event_percent : float
        What happens to every unit of a depot at once. [%]
    batch_percent, batch_share : float
        What that share of the units whose own clamp is the first truly lose at about one time. [%]
    step_percent, drift_percent_per_year : float
        What happens to the first clamp of each depot. [%], [%/year]
    """

    units: int = 20
    clamps: int = 1
    checks_per_year: tuple[float, float] = (2.0, 4.0)
    years: float = 4.0
    wave_percent: float = 0.0
    weather_percent: float = 0.0
    losing_share: float = 0.0
    uneven: bool = False
    in_rounds: bool = False
    foreign_share: float = 0.1
    event_percent: float = 0.0
    batch_percent: float = 0.0
    batch_share: float = 1.0
    step_percent: float = 0.0
    drift_percent_per_year: float = 0.0


@dataclass(frozen=True, slots=True)
class Turned:
    """The checks of many depots, the same checks had the clamps not turned, and what is true.

    `turned_years`, shape (depots,), is when; `losing`, shape (installations,), which units truly lose current.
    """

    series: SeriesBatch
    steady: SeriesBatch
    turned_years: Floats
    losing: Bools
    meters: int


def turned_depots(depots: Depots, world: World, generator: np.random.Generator, count: int) -> Turned:
    """Return many depots."""
    made = fleet(
        world,
        generator,
        installations=count * depots.units,
        stages=4,
        history_years=depots.years,
        checks_per_year=depots.checks_per_year,
    ).series
    depot = np.arange(made.installations) // depots.units
    years = _in_rounds(made.years, depot, depots, generator) if depots.in_rounds else made.years
    turned = depots.years * generator.uniform(0.35, 0.65, count)
    since = np.maximum(years - turned[depot], 0.0)
    happened = years >= turned[depot]
    losing = generator.random(made.installations) < depots.losing_share
    common = _weather(years, depot, depots, generator) + depots.event_percent * happened
    common -= (
        losing
        * generator.uniform(SLOWEST_LOSS, FASTEST_LOSS, made.installations)
        * _since_onset(years, depots.years, generator)
    )
    own = np.arange(made.installations) % depots.units % depots.clamps
    of_batch = (own == 0) & (generator.random(made.installations) < depots.batch_share) & (depots.batch_percent != 0)
    begins = turned[depot] + generator.normal(0, BATCH_SD_YEARS, made.installations)
    common += depots.batch_percent * of_batch * (years >= begins)
    meters = _used(years, depot, depots, generator)
    effects = generator.normal(0.0, EFFECT_SD_PERCENT, count * depots.clamps)[meters]
    by_first = meters % depots.clamps == 0
    step = by_first * (depots.step_percent * happened + depots.drift_percent_per_year * since)
    read = np.isfinite(years)
    levels = np.where(read[:, None], made.levels_percent + common[:, None], np.nan)
    used = np.where(read, meters, UNKNOWN_METER)
    series, steady = (
        replace(made, years=years, levels_percent=levels * (1 + each / 100)[:, None], meters=used)
        for each in (effects + step, effects)
    )
    return Turned(series, steady, turned, losing | of_batch, count * depots.clamps)


def _since_onset(years: Floats, history_years: float, generator: np.random.Generator) -> Floats:
    onset = history_years * generator.uniform(0.2, 0.9, years.shape[1])
    since: Floats = np.maximum(years - onset, 0.0)
    return since


def _in_rounds(years: Floats, depot: Ints, depots: Depots, generator: np.random.Generator) -> Floats:
    per_year = np.mean(depots.checks_per_year)
    begins = generator.uniform(0, 1 / per_year, int(depot[-1]) + 1)[depot]
    rounds = np.arange(len(years))[:, None] / per_year + begins
    rounds = rounds + np.clip(generator.normal(0, ROUND_SD_YEARS, rounds.shape), -0.05, 0.05)
    return np.where((rounds < depots.years) & np.isfinite(years), rounds, np.nan)


def _weather(years: Floats, depot: Ints, depots: Depots, generator: np.random.Generator) -> Floats:
    """Return what the temperature that nobody knows well adds in each depot.  [%]"""
    count, most = int(depot[-1]) + 1, int(np.ceil(depots.years)) + 2
    phase = generator.random(count)[depot]
    known = np.nan_to_num(years)
    amplitude = depots.wave_percent * np.exp(generator.normal(0, WAVE_SPREAD, (count, most)))
    wave = amplitude[depot, (known + phase).astype(int)] * np.cos(2 * np.pi * (known + phase))
    weather = generator.normal(0, depots.weather_percent, (count, most * FORTNIGHTS_PER_YEAR))
    for fortnight in range(1, weather.shape[1]):
        fresh = np.sqrt(1 - WEATHER_LASTS**2) * weather[:, fortnight]
        weather[:, fortnight] = WEATHER_LASTS * weather[:, fortnight - 1] + fresh
    total: Floats = wave + weather[depot, (known * FORTNIGHTS_PER_YEAR).astype(int)]
    return total


def _used(years: Floats, depot: Ints, depots: Depots, generator: np.random.Generator) -> Ints:
    """Return which clamp read each visit: the unit's own, now and then another of the depot."""
    own = np.arange(years.shape[1]) % depots.units % depots.clamps
    usual = np.broadcast_to(own, years.shape)
    if depots.uneven:
        usual = np.where(generator.random(years.shape) < 0.8, 0, usual)
    other = generator.integers(0, depots.clamps, years.shape)
    return depot * depots.clamps + np.where(generator.random(years.shape) < depots.foreign_share, other, usual)
