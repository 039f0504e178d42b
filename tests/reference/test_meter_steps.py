"""The statistic of a step beside a general library's, and beside a published series with a known change."""

import numpy as np
import pytest
import statsmodels.api as sm  # type: ignore[import-untyped]

from calc.arrays import Floats
from calc.trend.meter_model import EFFECT_SD_PERCENT
from calc.trend.meter_visits import MeterVisits
from calc.trend.step_fit import WAVE_SD_PERCENT
from calc.trend.step_scan import BINS, StepScan
from calc.trend.unit_lines import OFFSET_SD_PERCENT, SLOPE_SD_PERCENT_PER_YEAR


def scanned(visits: MeterVisits, years: float) -> StepScan:
    scan = StepScan(np.array([0.0]), np.array([years]))
    scan.add(visits, np.zeros(len(visits.unit)))
    return scan


def test_the_gain_and_size_of_a_step_are_those_of_generalised_least_squares() -> None:
    # statsmodels GLS with the covariance of everything that is not the step; noise is small, so no visit counts less.
    generator = np.random.default_rng(12)
    units, each, years = 12, 9, 4.0
    unit, at = np.repeat(np.arange(units), each), np.sort(generator.uniform(0, years, units * each))
    variance = generator.uniform(1.0, 3.0, len(unit))
    value = generator.normal(0, 2, units)[unit] - 1.2 * (at > 2.2) + generator.normal(0, 0.3, len(unit))
    found = scanned(MeterVisits(unit, np.zeros_like(unit), at, value, variance, units), years).best()
    binned = np.floor(at / years * BINS).astype(int)
    covariance = np.diag(variance) + EFFECT_SD_PERCENT**2
    for wave in (np.cos(2 * np.pi * at), np.sin(2 * np.pi * at)):
        mean = np.bincount(binned, wave / variance) / np.bincount(binned, 1 / variance)
        covariance += WAVE_SD_PERCENT**2 * np.outer(mean[binned], mean[binned])
    same = unit[:, None] == unit
    middle = np.bincount(unit, at) / each
    since_middle = at - middle[unit]
    covariance += same * (OFFSET_SD_PERCENT**2 + SLOPE_SD_PERCENT_PER_YEAR**2 * np.outer(since_middle, since_middle))
    expected = [_least_squares(value, (binned >= edge).astype(float), covariance) for edge in range(1, BINS)]
    best = int(np.argmax([gain for gain, _size in expected]))
    assert found.bin[0] == best + 1
    assert found.scatter[0] * found.gain[0] == pytest.approx(expected[best][0], rel=1e-4)
    assert found.size_percent[0] == pytest.approx(expected[best][1], rel=1e-4)


def _least_squares(value: Floats, step: Floats, covariance: Floats) -> tuple[float, float]:
    fitted = sm.GLS(value, step[:, None], sigma=covariance).fit(cov_type="fixed scale")
    return float(fitted.tvalues[0] ** 2), float(fitted.params[0])


def test_the_flow_of_the_nile_falls_in_1898() -> None:
    # G. W. Cobb, Biometrika 65 (1978) 243: a change in 1898, about 1100 before and 850 after, standard deviation 125.
    # The data ship with statsmodels (datasets.nile); the figures are from memory and follow from the data.
    nile = sm.datasets.nile.load_pandas().data
    year, flow = nile["year"].to_numpy(float) - 1871, nile["volume"].to_numpy(float)
    one = np.zeros(len(year), np.int64)
    visits = MeterVisits(one, one, year, (flow - flow.mean()) / 125, np.ones(len(year)), 1)
    found = scanned(visits, 100.0).best()
    bin_years = 100 / BINS
    began = 1871 + found.bin[0] * bin_years
    assert began - bin_years < 1899 <= began + bin_years
    assert found.gain[0] > 18
    assert found.size_percent[0] * 125 == pytest.approx(850 - 1100, abs=60)
