"""Published figures for unbalance: the largest deviation from the mean over the mean (NEMA MG-1 14.36, M; S)."""

import pytest

from calc.judge import judge
from tests.calc.builders import evidence, rating, single_pass


def imbalance_percent(readings: tuple[float, ...]) -> float:
    unit = rating(rated_currents_a=(100.0,) * len(readings), reference_voltage_v=None)
    imbalance = judge(evidence(single_pass(readings), rating=unit)).imbalance_percent
    assert imbalance is not None
    return imbalance


def test_three_line_voltages_are_out_of_balance_as_published() -> None:
    # U1, discussion of NEMA MG-1 (S): 462, 463 and 455 V, mean 460, 1.1 %.
    assert imbalance_percent((462.0, 463.0, 455.0)) == pytest.approx(100 * 5 / 460, rel=1e-6)
    assert round(imbalance_percent((462.0, 463.0, 455.0)), 1) == 1.1


def test_four_stage_currents_are_out_of_balance_as_derived() -> None:
    # U4 (derived): mean 36.85 A, 10.4 %.
    assert imbalance_percent((38.4, 37.9, 33.0, 38.1)) == pytest.approx(100 * 3.85 / 36.85, rel=1e-6)
    assert round(imbalance_percent((38.4, 37.9, 33.0, 38.1)), 1) == 10.4


def test_it_is_not_the_span_over_the_mean() -> None:
    assert imbalance_percent((462.0, 463.0, 455.0)) < 100 * (463 - 455) / 460


def test_the_voltage_of_each_reading_is_taken_out() -> None:
    assert imbalance_percent((100.0, 100.0)) == pytest.approx(0.0, abs=1e-9)
    readings = (*single_pass((100.0,), 14.0), single_pass((0.0, 95.0), 13.3)[1])
    unit = rating(rated_currents_a=(100.0, 100.0), reference_voltage_v=None)
    assert judge(evidence(readings, rating=unit)).imbalance_percent == pytest.approx(0.0, abs=1e-9)
