"""The filter, the change-point posterior and the meter model beside independent implementations."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.tsa.statespace.mlemodel import MLEModel  # type: ignore[import-untyped]

from calc.arrays import Floats
from calc.trend.change_points import LEVEL_SD_PERCENT, STEP_PERCENT, STEP_SD, posterior_of
from calc.trend.filtering import trend_filter
from calc.trend.meter_model import EFFECT_SD_PERCENT, meter_effects
from calc.trend.settings import FilterSettings
from calc.trend.unit_lines import OFFSET_SD_PERCENT, SLOPE_SD_PERCENT_PER_YEAR

GAUSSIAN = FilterSettings(clip=1e9, least_noise_factor=1.0, largest_noise_factor=1.0)


def statsmodels_filter(years: Floats, values: Floats, variances: Floats, prior_sd: float) -> tuple[Floats, Floats]:
    """Return filtered level and slope, and their covariances, of one channel."""
    model = MLEModel(values, k_states=2)
    gaps = np.diff(years, append=years[-1])
    slope_walk, level_walk = GAUSSIAN.slope_walk**2, GAUSSIAN.level_walk**2
    transition, noise = np.zeros((2, 2, len(years))), np.zeros((2, 2, len(years)))
    for k, gap in enumerate(gaps):
        transition[:, :, k] = [[1, gap], [0, 1]]
        cross = slope_walk * gap**2 / 2
        noise[:, :, k] = [[level_walk * gap + slope_walk * gap**3 / 3, cross], [cross, slope_walk * gap]]
    model.ssm["design"] = np.array([[1.0, 0.0]])
    model.ssm["obs_cov"] = variances[None, None]
    model.ssm["transition"], model.ssm["state_cov"] = transition, noise
    model.ssm["selection"] = np.eye(2)
    model.ssm.initialize_known(np.zeros(2), np.diag([prior_sd**2, GAUSSIAN.first_slope_sd**2]))
    found = model.ssm.filter()
    return found.filtered_state, found.filtered_state_cov


def test_without_its_robustness_the_filter_is_a_kalman_filter() -> None:
    generator = np.random.default_rng(5)
    years = np.cumsum(generator.gamma(4, 0.08, 15))
    values, variances = generator.normal(0, 3, 15), generator.uniform(1, 9, 15)
    values[[4, 9]] = np.nan
    state, covariance = statsmodels_filter(years, values, variances, 2.0)
    found = trend_filter(
        years[:, None],
        values[:, None, None],
        variances[:, None, None],
        np.array([2.0]),
        settings=GAUSSIAN,
        fleet_level_known=True,
    )
    assert found.level[:, 0, 0] == pytest.approx(state[0], rel=1e-9)
    assert found.slope[:, 0, 0] == pytest.approx(state[1], rel=1e-9)
    assert found.level_variance[:, 0, 0] == pytest.approx(covariance[0, 0], rel=1e-9)
    assert found.slope_variance[:, 0, 0] == pytest.approx(covariance[1, 1], rel=1e-9)


def test_a_restart_is_the_same_as_a_series_of_its_own() -> None:
    generator = np.random.default_rng(6)
    years = np.cumsum(generator.gamma(4, 0.08, 18))[:, None]
    values = generator.normal(0, 2, (18, 3, 1))
    restart = np.zeros((18, 1), bool)
    restart[7] = True
    whole = trend_filter(years, values, np.full_like(values, 4.0), np.ones(3), restart)
    later = trend_filter(years[7:], values[7:], np.full((11, 3, 1), 4.0), np.ones(3))
    np.testing.assert_allclose(whole.slope[7:], later.slope, rtol=1e-12)
    np.testing.assert_array_equal(whole.noise_factor[7:], later.noise_factor)


def test_the_weight_of_a_step_is_its_marginal_likelihood() -> None:
    generator = np.random.default_rng(7)
    years = np.cumsum(generator.gamma(4, 0.1, 9))
    values, u = generator.normal(-1, 2, 9), generator.uniform(1, 3, 9)
    weight = posterior_of(years[:, None], values[:, None], u[:, None]).weight[:, 0]
    shapes = [(np.arange(9) > after).astype(float) for after in range(8)]
    likelihood = [_marginal(values, u, shape) for shape in shapes]
    # The steps are the last eight of the models, and equally likely beforehand.
    steps = weight[-8:]
    assert steps / steps.sum() == pytest.approx(np.array(likelihood) / sum(likelihood), rel=1e-9)


def _marginal(values: Floats, u: Floats, shape: Floats) -> float:
    covariance = np.diag(u**2) + LEVEL_SD_PERCENT**2 + STEP_SD**2 * np.outer(shape, shape)
    return float(stats.multivariate_normal(STEP_PERCENT * shape, covariance).pdf(values))


def test_the_chance_of_being_below_is_that_of_a_sample_of_the_posterior() -> None:
    years = np.arange(8.0)[:, None] / 3
    values = np.array([0.5, -0.8, 0.2, -1.9, -3.5, -4.1, -6.2, -6.6])[:, None]
    found = posterior_of(years, values, np.full((8, 1), 1.5))
    generator = np.random.default_rng(8)
    model = generator.choice(len(found.weight), 400_000, p=found.weight[:, 0])
    precision = np.array(
        [[found.level_precision, found.cross_precision], [found.cross_precision, found.change_precision]]
    )
    draws = np.linalg.cholesky(np.linalg.inv(precision[:, :, :, 0].transpose(2, 0, 1)))
    level, change = np.einsum("nij,nj->in", draws[model], generator.standard_normal((len(model), 2)))
    along = found.reach[model, 0] + found.grows[model, 0] * 1.5
    level_then = found.level[model, 0] + level + (found.change[model, 0] + change) * along
    chance = float(found.below(np.array([-12.0]), np.full((1, 1), 1.5))[0, 0])
    assert 0.1 < chance < 0.9
    assert chance == pytest.approx(float(np.mean(level_then < -12)), abs=0.004)


def test_meter_effects_are_a_ridge_regression() -> None:
    generator = np.random.default_rng(9)
    units, meters, visits = 30, 6, 300
    unit, meter = generator.integers(0, units, visits), generator.integers(0, meters, visits)
    years, variance = generator.uniform(0, 5, visits), generator.uniform(1, 4, visits)
    value = generator.normal(0, 2, visits) - 2.0 * (meter == 3)
    found = meter_effects(unit, meter, years, value, variance, units=units, meters=meters)
    mean_year = np.array([years[unit == each].mean() for each in range(units)])
    design = np.zeros((visits, 2 * units + meters))
    row = np.arange(visits)
    design[row, unit], design[row, units + unit], design[row, 2 * units + meter] = 1, years - mean_year[unit], 1
    prior = np.repeat([OFFSET_SD_PERCENT, SLOPE_SD_PERCENT_PER_YEAR, EFFECT_SD_PERCENT], [units, units, meters])
    weighted = design / np.sqrt(variance)[:, None]
    solution = np.linalg.lstsq(
        np.vstack([weighted, np.diag(1 / prior)]), np.concatenate([value / np.sqrt(variance), np.zeros(len(prior))])
    )[0][-meters:]
    covariance = np.linalg.inv(weighted.T @ weighted + np.diag(1 / prior**2))
    assert found.effect_percent == pytest.approx(solution - np.median(solution), abs=1e-9)
    assert found.u_percent == pytest.approx(np.sqrt(np.diag(covariance))[-meters:], rel=1e-9)


def test_meters_that_never_met_are_not_compared() -> None:
    unit, meter = np.repeat(np.arange(4), 4), np.array([0, 1] * 4 + [2, 3] * 2 + [4] * 4)
    found = meter_effects(
        unit, meter, np.tile([0.0, 1, 2, 3], 4), np.where(meter == 1, -3.0, 0.0), np.ones(16), units=4, meters=6
    )
    components = found.component[:5]
    assert components[0] == components[1] != components[2] == components[3] != components[4]
    assert np.isnan(found.effect_percent[[4, 5]]).all()
    assert found.visits.tolist() == [4, 4, 2, 2, 4, 0]
