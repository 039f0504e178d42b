"""One installation worked through to the printed digit: filter, crossing of the limit, slopes.

Own computation (C): no published value stands behind these figures; they were made by independent reference code.
"""

import numpy as np
import pytest

from calc.arrays import Floats
from calc.trend.change_points import posterior_of
from calc.trend.channels import channels_of
from calc.trend.filtering import Filtered, trend_filter
from calc.trend.forecast import crossing_years
from calc.trend.theil_sen import theil_sen

YEARS = np.array([0.00, 0.31, 0.55, 0.92, 1.18, 1.47, 1.80, 2.05, 2.37, 2.60])
# Stage 3 loses current after the third check; stage 4 has one gross error at the fifth.
LEVELS = np.array(
    [
        [101.2, 99.0, 102.4, 100.3, 100.9, 101.8, 99.7, 101.1, 100.2, 102.0],
        [98.6, 97.1, 100.2, 99.4, 97.8, 100.0, 98.1, 99.3, 97.2, 99.9],
        [100.8, 100.1, 101.6, 98.9, 98.4, 97.2, 94.9, 94.6, 91.7, 91.9],
        [99.5, 100.4, 101.9, 99.1, 88.0, 100.6, 98.8, 100.9, 98.9, 101.3],
    ]
).T[:, :, None]
OWN_U, SHARED_U = 2.0, 1.5
Z = """
 0.0150  0.5723  0.4405  0.6527  0.6197  0.9469  0.8444
-0.0418 -0.4315 -0.4618 -0.4749 -0.5324 -0.7519 -0.9257
-0.0713 -0.3587 -0.3820 -0.4173 -0.4631 -0.4686 -0.6293
 0.0966 -0.1429  0.2377  0.6513  1.2092  1.8324  2.4870
 0.0165  0.4070  0.2305  0.0201 -0.3186 -0.6053 -0.9363
"""


@pytest.fixture(scope="module")
def filtered() -> Filtered:
    one = np.ones((10, 1))
    channels = channels_of(LEVELS, np.full_like(LEVELS, OWN_U), SHARED_U * one, one > 0)
    assert np.sqrt(channels.variances[0, :, 0]).round(4).tolist() == [1.8028, *[2.3094] * 4]
    assert channels.prior_sd.round(4).tolist() == [1.0, *[2.3094] * 4]
    return trend_filter(YEARS[:, None], channels.values, channels.variances, channels.prior_sd, fleet_level_known=True)


def digits(values: Floats) -> list[float]:
    return [round(float(value), 4) for value in values]


def test_z_of_every_channel_from_the_fourth_check_on(filtered: Filtered) -> None:
    expected = np.array(Z.split(), float).reshape(5, 7)
    assert [digits(row) for row in filtered.z[3:, :, 0].T] == expected.tolist()
    assert np.isnan(filtered.z[:3]).all()


def test_noise_of_the_installation(filtered: Filtered) -> None:
    expected = [1.0, 0.8508, 0.7369, 0.6556, 0.9109, 0.8975, 0.8764, 0.8897, 0.9087, 0.9402]
    assert digits(filtered.noise_factor[:, 0]) == expected


def test_slopes_and_levels_at_the_end(filtered: Filtered) -> None:
    assert digits(filtered.slope[-1, :, 0]) == [-0.5194, 0.6276, 0.4266, -1.6861, 0.6348]
    assert digits(np.sqrt(filtered.slope_variance[-1, :, 0])) == [0.6151, 0.6780, 0.6780, 0.6780, 0.6780]
    assert digits(filtered.level[-1, :, 0]) == [-1.7164, 3.2722, 0.5348, -4.3357, 1.3556]


@pytest.mark.parametrize(
    ("stage", "checks", "limit", "fault_probability", "points", "step_weight", "mean_slope"),
    [
        (3, 10, -10.0, 1.0, [0.00, 0.46, 2.56], 0.0404, -4.563),
        (3, 10, -15.0, 1.0, [0.70, 1.62, 5.10], 0.0404, -4.563),
        (3, 10, -15.0, 0.02, [0.70, 1.66, np.inf], 0.0391, -4.427),
        (3, 7, -10.0, 1.0, [0.54, 1.74, np.inf], 0.0963, -3.972),
        (1, 10, -10.0, 0.02, [np.inf, np.inf, np.inf], None, None),
    ],
)
def test_crossing_of_the_limit(
    stage: int,
    checks: int,
    limit: float,
    fault_probability: float,
    points: list[float],
    step_weight: float | None,
    mean_slope: float | None,
) -> None:
    years, deviations = YEARS[:checks, None], LEVELS[:checks, stage - 1] - 100
    u = np.full_like(deviations, 2.5)
    found = crossing_years(years, deviations, u, np.array([limit]), fault_probability=fault_probability)
    assert found[:, 0] == pytest.approx(points, abs=1e-9)
    if step_weight is not None and mean_slope is not None:
        posterior = posterior_of(years, deviations, u, fault_probability=fault_probability)
        assert round(float(posterior.step_weight[0]), 4) == step_weight
        assert round(float(posterior.mean_change[0]), 3) == mean_slope


def test_theil_sen_and_kendall() -> None:
    found = theil_sen(YEARS[:, None], LEVELS)
    rows = [found.slope, found.intercept, found.low, found.high, found.score, found.decline_p]
    expected = [
        [0.2299, 100.6954, -0.8333, 1.3100, 3, 0.6363],
        [0.0485, 98.8857, -1.2069, 1.0909, 1, 0.5691],
        [-4.0777, 103.2029, -4.7826, -3.0244, -39, 0.0001],
        [0.1754, 99.7175, -1.0738, 1.5929, 3, 0.6363],
    ]
    assert [digits(np.array(row)[:, stage, 0]) for stage, row in enumerate([rows] * 4)] == expected
    assert round(float(found.decline_p[2, 0]), 7) == 0.0000576
