"""The forecast as a fan: it opens, and meets the lower limit when the crossing says so."""

import numpy as np
import pytest

from calc.trend import FAN_CHANCES, SeriesBatch, fit, forecast_fan, series_of_rows

VISITS, LIMIT_PERCENT = 14, 80.0
GRID_YEARS = 0.02


def losing(per_year_percent: float, stages: int = 4) -> SeriesBatch:
    """Return one unit, a check a quarter, whose first stage loses so much a year from the second year on."""
    years = np.arange(VISITS) / 4
    scatter = np.random.default_rng(7).normal(0.0, 0.7, (VISITS, stages))
    levels = 100.0 + scatter
    levels[:, 0] -= per_year_percent * np.maximum(years - 1.0, 0.0)
    return series_of_rows(
        np.zeros(VISITS, np.int64),
        years,
        levels,
        np.full((VISITS, stages), 0.7),
        np.full(VISITS, 0.6),
        stages=np.array([stages]),
        lower_limit_percent=np.full((1, stages), LIMIT_PERCENT),
    )


@pytest.mark.parametrize("per_year_percent", [3.0, 5.0, 8.0])
def test_the_fan_meets_the_limit_when_the_crossing_says_so(per_year_percent: float) -> None:
    series = losing(per_year_percent)
    found = fit(series)
    crossings = found.crosses_at_years[:, 0, 0] - series.years[-1, 0]
    within = np.isfinite(crossings) & (crossings > 0)
    assert within.any()
    for crossing, chance in zip(crossings[within], np.array([0.05, 0.50, 0.95])[within], strict=True):
        before, at = forecast_fan(series, np.array([crossing - GRID_YEARS, crossing]))[
            FAN_CHANCES.index(chance), :, 0, 0
        ]
        assert before >= LIMIT_PERCENT - 0.02
        assert at <= LIMIT_PERCENT + 0.02


def test_the_fan_opens_and_its_edges_keep_their_order() -> None:
    fan = forecast_fan(losing(5.0), np.linspace(0.0, 3.0, 7))[:, :, 0, 0]
    assert (np.diff(fan, axis=0) > 0).all()
    assert (np.diff(fan[-1] - fan[0]) > 0).all()


def test_what_loses_nothing_has_no_fan() -> None:
    fan = forecast_fan(losing(5.0), np.array([0.0, 1.0]))
    assert np.isnan(fan[:, :, 1:]).all()
    assert np.isnan(forecast_fan(losing(0.0), np.array([0.0, 1.0]))).all()
