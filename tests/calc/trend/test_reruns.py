"""A trend is a function of the series: of nothing else, and in particular not of the nights before."""

from dataclasses import fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from calc.trend import SeriesBatch, TrendBatch, fit, preview
from calc.trend.episodes import Episodes
from inspections.bench.worlds import Fault, World, fleet
from tests.calc.trend.builders import checks_of, losing, one_unit, steady, told


@pytest.fixture(scope="module")
def some_fleet() -> SeriesBatch:
    simulated = fleet(World(2.0, 1.5), np.random.default_rng(11), installations=300, stages=4, fault=Fault(4.0))
    return simulated.series


def assert_alike(found: TrendBatch, expected: TrendBatch) -> None:
    for field in fields(TrendBatch):
        one, other = getattr(found, field.name), getattr(expected, field.name)
        if isinstance(one, Episodes):
            for column in fields(Episodes):
                np.testing.assert_array_equal(getattr(one, column.name), getattr(other, column.name))
        else:
            np.testing.assert_array_equal(one, other, err_msg=field.name)


def test_a_rerun_changes_nothing(some_fleet: SeriesBatch) -> None:
    assert len(fit(some_fleet).episodes) > 100
    assert_alike(fit(some_fleet), fit(some_fleet))


def test_an_installation_does_not_depend_on_the_others_of_its_chunk(some_fleet: SeriesBatch) -> None:
    whole = fit(some_fleet)
    for column in range(0, 300, 37):
        alone = fit(some_fleet.of(np.array([column])))
        own = whole.episodes.where(whole.episodes.installation == column)
        np.testing.assert_array_equal(alone.slope[:, 0], whole.slope[:, column])
        np.testing.assert_allclose(alone.level_percent[:, 0], whole.level_percent[:, column], rtol=1e-13)
        np.testing.assert_array_equal(alone.crosses_at_years[:, :, 0], whole.crosses_at_years[:, :, column])
        assert alone.episodes.of_columns(np.array([column])).identities() == own.identities()


def test_units_with_different_stage_counts_are_fitted_side_by_side() -> None:
    three, four = losing(steady(3, 16), [1], 5.0, 5), losing(steady(4, 16), [4], 5.0, 5)
    batches = one_unit(three), one_unit(four)
    together = _side_by_side(*batches)
    found = fit(together)
    assert told(found) == [*told(fit(batches[0])), *told(fit(batches[1]))]
    assert np.isnan(found.slope[3, 0])


def test_states_up_to_a_check_are_not_changed_by_later_ones(some_fleet: SeriesBatch) -> None:
    early = replace(
        some_fleet,
        years=np.where(np.arange(some_fleet.visits)[:, None] < 14, some_fleet.years, np.nan),
        levels_percent=np.where(np.arange(some_fleet.visits)[:, None, None] < 14, some_fleet.levels_percent, np.nan),
    )
    then = set(fit(early).episodes.identities())
    now = {each for each in fit(some_fleet).episodes.identities() if each[1] < 14}
    assert then == now


def test_a_check_that_arrives_late_is_as_good_as_one_in_time() -> None:
    at, levels = checks_of(losing(steady(4, 14), [2], 5.0, 5))
    u = [[2.0] * 4] * 14
    in_time = preview(at, levels, u, lower_limits_percent=[90.0] * 4)
    late = [*at[:6], *at[7:], at[6]], [*levels[:6], *levels[7:], levels[6]]
    assert preview(*late, u, lower_limits_percent=[90.0] * 4) == in_time


def _side_by_side(first: SeriesBatch, second: SeriesBatch) -> SeriesBatch:
    def padded(values: npt.NDArray[np.float64], stages_axis: int) -> npt.NDArray[np.float64]:
        missing = second.levels_percent.shape[1] - values.shape[stages_axis]
        widths = [(0, missing if axis == stages_axis else 0) for axis in range(values.ndim)]
        return np.pad(values, widths, constant_values=np.nan)

    joined: dict[str, Any] = {}
    for field in fields(SeriesBatch):
        one, other = getattr(first, field.name), getattr(second, field.name)
        if field.name in ("levels_percent", "u_own_percent"):
            one = padded(one, 1)
        if field.name == "lower_limit_percent":
            one = padded(one, 0)
        joined[field.name] = None if one is None else np.concatenate([one, other], axis=-1)
    return SeriesBatch(**joined)
