"""Thresholds by simulation: how far z goes in healthy fleets, and which z so many of them reach in a year.

`python -m inspections.bench.calibration` prints the tables of `calc/trend/thresholds.py`.
"""

import sys
from collections.abc import Iterator

import numpy as np

from calc.arrays import Floats
from calc.trend.channels import channels_of
from calc.trend.filtering import Filtered, trend_filter
from calc.trend.settings import FIRST_DECISION_READING
from calc.trend.thresholds import (
    COMMON_SHARE,
    RATES_PER_YEAR,
    RESISTANCE_RATES_PER_YEAR,
    SHARED_PER_STAGE_NOISE,
    STAGE_NOISE_PERCENT,
)
from inspections.bench.worlds import World, fleet

BLOCK = 2000
INSTALLATIONS = 120_000
SEED = 20_250_101


def exposure_years(years: Floats) -> Floats:
    """Return how long each installation is judged, from its fourth check to its last.  [year]"""
    first = years[FIRST_DECISION_READING - 1]
    judged: Floats = np.where(np.isnan(first), 0.0, np.nanmax(years, axis=0) - first)
    return judged


def reached_z(rate_per_year: float, maxima: Floats, exposure: float) -> float:
    """Return the z that so many installations a year reach."""
    return float(np.sort(maxima)[::-1][round(rate_per_year * exposure)])


def stage_thresholds(world: World, stages: int, installations: int = INSTALLATIONS) -> tuple[list[float], list[float]]:
    """Return the thresholds of the common channel and of the contrasts, from the most frequent alarm to the rarest."""
    common, contrast, exposure = [], [], 0.0
    for years, found in _healthy(world, stages, installations):
        largest = np.fmax.reduce(found.z, axis=0)
        common.append(largest[0])
        contrast.append(np.fmax.reduce(largest[1:], axis=0) if stages > 1 else largest[0])
        exposure += float(exposure_years(years).sum())
    share = COMMON_SHARE if stages > 1 else 1.0
    return _reached(common, exposure, share), _reached(contrast, exposure, 1 - COMMON_SHARE)


def resistance_thresholds(noise_percent: float, installations: int = INSTALLATIONS) -> list[float]:
    """Return the thresholds of a supply or ground channel."""
    maxima, exposure = [], 0.0
    for years, found in _healthy(World(noise_percent, 0.0), 1, installations):
        maxima.append(np.fmax.reduce(found.z, axis=0)[0])
        exposure += float(exposure_years(years).sum())
    reached = np.nan_to_num(np.concatenate(maxima), nan=-np.inf)
    return [reached_z(rate, reached, exposure) for rate in RESISTANCE_RATES_PER_YEAR]


def _reached(maxima: list[Floats], exposure: float, share: float) -> list[float]:
    reached = np.nan_to_num(np.concatenate(maxima), nan=-np.inf)
    return [reached_z(share * rate, reached, exposure) for rate in RATES_PER_YEAR]


def _healthy(world: World, stages: int, installations: int) -> Iterator[tuple[Floats, Filtered]]:
    generator = np.random.default_rng([SEED, stages, round(1000 * world.stage_sd_percent)])
    for _ in range(installations // BLOCK):
        batch = fleet(world, generator, installations=BLOCK, stages=stages).series
        channels = channels_of(
            batch.levels_percent, batch.u_own_percent, batch.u_shared_percent, batch.temperature_known
        )
        yield batch.years, trend_filter(batch.years, channels.values, channels.variances, channels.prior_sd)


def _write_tables() -> None:
    for stages in range(1, 9):
        worlds = [World(noise, SHARED_PER_STAGE_NOISE * noise) for noise in STAGE_NOISE_PERCENT]
        both = [stage_thresholds(world, stages) for world in worlds]
        for kind in range(2):
            rows = np.round(np.array([each[kind] for each in both]).T, 2).tolist()
            sys.stdout.write(f"{stages} {('common', 'contrast')[kind]} {rows},\n")
    rows = np.round(np.array([resistance_thresholds(noise) for noise in STAGE_NOISE_PERCENT]).T, 2).tolist()
    sys.stdout.write(f"resistance {rows}\n")


if __name__ == "__main__":
    _write_tables()
