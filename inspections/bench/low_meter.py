"""A fleet whose depots share meters, some of which read low: are they found, and their declines withdrawn?"""

from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.channels import COMMON, channels_of
from calc.trend.corrections import Corrections
from calc.trend.episodes import ALL_STAGES, METER, METER_EFFECT, OPEN, Episodes
from calc.trend.fitting import fit
from calc.trend.meter_steps import stepped_effects
from calc.trend.meter_visits import MeterVisits
from calc.trend.series import SeriesBatch
from inspections.bench.worlds import World, fleet

METERS_PER_DEPOT = 5
INSTALLATIONS_PER_METER = 20
FOREIGN_VISITS = 0.10
EFFECT_SD_PERCENT = 0.3
LOW_PERCENT = -2.0
LOW_SHARE = 0.04
# Meters that read low come into use after so many years, as replacements.
LOW_FROM_YEAR = 3.0


@dataclass(frozen=True, slots=True)
class LowMeters:
    """Meters found and wrongly flagged, error of the effects, and declines of low meters left before and after.

    `false_declines` counts open losses of all stages, or of the meter, on units that a low meter reads.
    """

    planted: int
    found: int
    others_flagged: int
    effect_error_percent: float
    false_declines_as_read: int
    false_declines_corrected: int
    withdrawn: int


def low_meters(world: World, seed: int, meters: int) -> LowMeters:
    """Return how planted low meters are found."""
    generator = np.random.default_rng(seed)
    series, effects, low = _metered_fleet(world, generator, meters)
    visits = visits_of(series)
    estimated = stepped_effects(lambda: [visits], meters)
    corrections = Corrections.of_steps(estimated)
    as_read = fit(replace(series, meters=np.zeros_like(series.meters)), forecast=False).episodes
    corrected = fit(series, corrections, forecast=False).episodes
    read_low = np.any(low[series.meters] & ~np.isnan(series.years), axis=0)
    flagged = estimated.effects.reads_low[:meters]
    error = estimated.effects.effect_percent[:meters] - (effects - np.median(effects))
    return LowMeters(
        planted=int(low.sum()),
        found=int((flagged & low).sum()),
        others_flagged=int((flagged & ~low).sum()),
        effect_error_percent=float(np.sqrt(np.nanmean(error**2))),
        false_declines_as_read=_open_on(as_read, read_low),
        false_declines_corrected=_open_on(corrected, read_low),
        withdrawn=int(np.count_nonzero(corrected.ending == METER_EFFECT)),
    )


def visits_of(series: SeriesBatch) -> MeterVisits:
    """Return the common channel of every visit."""
    channels = channels_of(
        series.levels_percent, series.u_own_percent, series.u_shared_percent, series.temperature_known
    )
    value, variance = channels.values[:, COMMON], channels.variances[:, COMMON]
    visit, unit = np.nonzero(~np.isnan(value))
    return MeterVisits(
        unit,
        series.meters[visit, unit],
        series.years[visit, unit],
        value[visit, unit],
        variance[visit, unit],
        units=series.installations,
    )


def _metered_fleet(world: World, generator: np.random.Generator, meters: int) -> tuple[SeriesBatch, Floats, Bools]:
    series = fleet(world, generator, installations=meters * INSTALLATIONS_PER_METER, stages=4).series
    low: Bools = np.zeros(meters, bool)
    low[generator.choice(meters, max(round(meters * LOW_SHARE), 1), replace=False)] = True
    effects = np.where(low, LOW_PERCENT, generator.normal(0.0, EFFECT_SD_PERCENT, meters))
    used = _used_meters(series.years, low, generator)
    levels = series.levels_percent * (1 + effects[used] / 100)[:, None]
    return replace(series, levels_percent=levels, meters=used), effects, low


def _used_meters(years: Floats, low: Bools, generator: np.random.Generator) -> Ints:
    """Return who reads what: a unit's own meter, now and then any other; low ones only later, as replacements."""
    meters = len(low)
    unit_of_depot, depot = np.divmod(np.arange(years.shape[1]), meters // METERS_PER_DEPOT)
    usual = np.broadcast_to(depot * METERS_PER_DEPOT + unit_of_depot % METERS_PER_DEPOT, years.shape)
    good = np.flatnonzero(~low)
    foreign = generator.random(years.shape) < FOREIGN_VISITS
    used = np.where(foreign, generator.integers(0, meters, years.shape), usual)
    too_early = low[used] & ~(years >= LOW_FROM_YEAR)
    stand_in = np.broadcast_to(good[depot % len(good)], years.shape)
    return np.where(too_early, stand_in, used)


def _open_on(episodes: Episodes, installations: Bools) -> int:
    by_all = np.isin(episodes.attribution, (ALL_STAGES, METER)) & ~episodes.rising & (episodes.ending == OPEN)
    return int(np.count_nonzero(by_all & installations[episodes.installation]))
