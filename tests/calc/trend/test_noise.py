"""Whose noise is whose: what a stage has of its own, what a visit shares, and what belongs to the meter."""

import numpy as np
import pytest

from calc.judge import judge
from calc.trend import split_noise, visit_noise
from calc.trend.channels import channels_of, prior_sds, shared_u_percent
from tests.calc.builders import evidence, single_pass


@pytest.mark.parametrize("stages", range(2, 9))
def test_variances_of_common_channel_and_contrasts(stages: int) -> None:
    own = 1.0 + np.arange(stages) / 4
    levels = np.full((1, stages, 1), 100.0)
    found = channels_of(levels, own[None, :, None], np.full((1, 1), 1.5), np.ones((1, 1), bool))
    assert found.variances[0, 0, 0] == pytest.approx(np.sum(own**2) / stages**2 + 1.5**2)
    for stage in range(stages):
        others = np.delete(own, stage)
        expected = own[stage] ** 2 + np.sum(others**2) / (stages - 1) ** 2
        assert found.variances[0, 1 + stage, 0] == pytest.approx(expected)


def test_of_two_stages_the_contrasts_are_one_number_with_two_signs() -> None:
    levels = np.array([97.0, 102.0])[None, :, None]
    found = channels_of(levels, np.ones_like(levels), np.ones((1, 1)), np.ones((1, 1), bool))
    assert found.values[0, :, 0].tolist() == [-0.5, -5.0, 5.0]


def test_one_stage_has_the_common_channel_alone() -> None:
    levels = np.full((1, 1, 1), 97.0)
    found = channels_of(levels, np.ones_like(levels), np.full((1, 1), 2.0), np.ones((1, 1), bool))
    assert found.values.ravel().tolist() == [-3.0]
    assert found.variances.ravel().tolist() == [5.0]
    assert prior_sds(1).tolist() == [2.0]


def test_what_the_stages_share_is_not_in_the_contrasts() -> None:
    levels = np.array([97.0, 102.0, 99.0])[None, :, None]
    small, large = (
        channels_of(levels, np.ones_like(levels), np.full((1, 1), u), np.ones((1, 1), bool)) for u in (0.1, 9.0)
    )
    np.testing.assert_array_equal(small.variances[:, 1:], large.variances[:, 1:])


def test_a_mean_of_some_stages_is_less_certain_by_what_stages_differ() -> None:
    levels = np.array([100.0, 100.0, np.nan, np.nan])[None, :, None]
    found = channels_of(levels, np.ones_like(levels), np.zeros((1, 1)), np.ones((1, 1), bool))
    assert found.variances[0, 0, 0] == pytest.approx(1 / 2 + 2.0**2 * (1 / 2 - 1 / 4))
    assert np.isnan(found.values[0, :, 0]).tolist() == [False, False, False, True, True]


def test_the_clamp_of_the_first_visit_costs_nothing() -> None:
    u = shared_u_percent(np.full((3, 1), 1.5), np.array([[3], [3], [8]]))
    assert u[:, 0] == pytest.approx([1.5, 1.5, np.sqrt(1.5**2 + 2 * 0.7**2)])


def test_a_judged_visit_divides_into_stage_visit_and_meter() -> None:
    judged = judge(evidence(single_pass((30.0, 30.0, 30.0, 30.0))))
    levels = np.array([[stage.level_percent for stage in judged.stages]], float)
    expanded = np.array([[stage.expanded_uncertainty_percent for stage in judged.stages]], float)
    factor = np.array([[stage.coverage_factor for stage in judged.stages]], float)
    given = evidence(single_pass((30.0,)))
    one = np.ones(1)
    meter_u, visit_u = visit_noise(
        ammeter_accuracy_percent=given.ammeter.accuracy_percent * one,
        voltmeter_accuracy_percent=given.voltmeter.accuracy_percent * one,
        coil_temperature_c=20.0 * one,
        coil_temperature_bound_c=(given.coil_temperature_bound_c or 0.0) * one,
        reference_temperature_c=given.rating.reference_temperature_c * one,
    )
    found = split_noise(levels, expanded / factor, meter_u_percent=meter_u, visit_u_percent=visit_u)
    lines = {line.source: line.u_a for line in judged.stages[0].budget}
    rated_a = given.rating.rated_currents_a[0]
    clamp_percent = levels[0, 0] / 100 * given.ammeter.accuracy_percent / np.sqrt(3)
    total = found.own_percent[0, 0] ** 2 + found.shared_percent[0] ** 2 + clamp_percent**2
    assert np.sqrt(total) == pytest.approx(expanded[0, 0] / factor[0, 0], rel=1e-9)
    assert found.shared_percent[0] >= 100 * lines["coil_temperature"] / rated_a * (1 - 1e-9)
    assert found.own_percent[0, 0] < expanded[0, 0] / factor[0, 0]
