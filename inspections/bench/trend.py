"""How fast the trend is, beside the libraries that do one series at a time; measured in turn in one run."""

import importlib
from collections.abc import Callable
from statistics import median
from time import perf_counter
from typing import Any

import numpy as np

from calc.arrays import Floats
from calc.trend.fitting import fit
from calc.trend.theil_sen import theil_sen
from inspections.bench.worlds import World, batch_of

Figures = dict[str, Any]

SEED = 20_260_402
VISITS, STAGES = 12, 4
ROUNDS = 3
LEAST_RATIO = 600.0
INSTALLATIONS = {"small": 5_000, "full": 100_000}
LOOPED_SERIES = {"small": 200, "full": 2_000}


class PeerMissing(Exception):
    """A library to be compared with is not installed."""


def bench_trend(size: str) -> Figures:
    """Return the speed of slope, interval and p, and of the whole fit, beside a loop over the libraries.

    Raises
    ------
    PeerMissing
        Names the library that is not installed.
    """
    peer = _peer_loop()
    years, levels = _series(INSTALLATIONS[size])
    looped = LOOPED_SERIES[size]
    series = batch_of(years, levels, World(2.0, 1.5), lower_limit_percent=85.0)
    kernel_rates, loop_rates, fit_rates = [], [], []
    for _ in range(ROUNDS):
        kernel_rates.append(levels.shape[1] * levels.shape[2] / _seconds(lambda: theil_sen(years, levels)))
        loop_rates.append(looped / _seconds(lambda: peer(years, levels, looped)))
        fit_rates.append(levels.shape[2] / _seconds(lambda: fit(series)))
    ratios = [kernel / loop for kernel, loop in zip(kernel_rates, loop_rates, strict=True)]
    return {
        "kernel_series_per_s": median(kernel_rates),
        "loop_series_per_s": median(loop_rates),
        "kernel_over_loop": median(ratios),
        "kernel_over_loop_least": min(ratios),
        "fit_installations_per_s": median(fit_rates),
        "slopes_agree_within": _largest_difference(years, levels, looped),
        "visits": VISITS,
        "stages": STAGES,
    }


def trend_table(figures: Figures) -> str:
    """Return the figures as lines."""
    reached = "yes" if figures["kernel_over_loop"] >= LEAST_RATIO else "NO"
    return "\n".join(
        [
            f"series of {figures['visits']} checks, {figures['stages']} stages, one process",
            f"slope, interval and exact p            {figures['kernel_series_per_s']:>12,.0f} series/s",
            f"loop over scipy and pymannkendall      {figures['loop_series_per_s']:>12,.0f} series/s",
            f"ratio (aim >= {LEAST_RATIO:.0f}: {reached})              {figures['kernel_over_loop']:>12,.0f}",
            f"least ratio of {ROUNDS} rounds                {figures['kernel_over_loop_least']:>12,.0f}",
            f"largest difference of a slope          {figures['slopes_agree_within']:>12.1e}",
            f"whole fit: filter, replay, forecast    {figures['fit_installations_per_s']:>12,.0f} installations/s",
        ]
    )


def _series(installations: int) -> tuple[Floats, Floats]:
    generator = np.random.default_rng(SEED)
    years = np.cumsum(generator.gamma(4.0, 1 / 16, (VISITS, installations)), axis=0)
    levels = generator.normal(100.0, 2.0, (STAGES, installations)) + generator.normal(
        0.0, 2.0, (VISITS, STAGES, installations)
    )
    return years, levels


def _peer_loop() -> Callable[[Floats, Floats, int], list[float]]:
    from scipy.stats import theilslopes

    try:
        mann_kendall = importlib.import_module("pymannkendall")
    except ImportError as error:
        raise PeerMissing(f"{error.name} is not installed; it comes with the test requirements") from None

    def one_by_one(years: Floats, levels: Floats, count: int) -> list[float]:
        slopes = []
        for each in range(count):
            stage, installation = each % STAGES, each // STAGES
            slopes.append(float(theilslopes(levels[:, stage, installation], years[:, installation], 0.90).slope))
            mann_kendall.original_test(levels[:, stage, installation])
        return slopes

    return one_by_one


def _seconds(work: Callable[[], object]) -> float:
    started = perf_counter()
    work()
    return perf_counter() - started


def _largest_difference(years: Floats, levels: Floats, count: int) -> float:
    ours = theil_sen(years, levels).slope
    theirs = _peer_loop()(years, levels, count)
    return max(abs(float(ours[each % STAGES, each // STAGES]) - slope) for each, slope in enumerate(theirs))
