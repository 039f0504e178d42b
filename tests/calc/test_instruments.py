"""A meter found wrong, and two meters compared: published definitions, and what has to hold whatever the numbers."""

from math import inf, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc.evidence import Meter, MeterRange
from calc.instruments import (
    CalibrationPoint,
    FoundError,
    expanded_uncertainty_at,
    found_error,
    is_within_accuracy,
    largest_normalised_error,
    normalised_error,
    pair_compared,
    worst_share_of_accuracy,
)

CLAMP = Meter(2.0, 5, 0.1)
RANGED = Meter(2.0, 5, 0.1, 400.0, (MeterRange(40.0, 1.5, 5, 0.01), MeterRange(400.0, 2.0, 5, 0.1)))
amounts = st.floats(-1e4, 1e4)
uncertainties = st.floats(1e-3, 1e3)


@given(amounts, amounts, uncertainties, uncertainties)
def test_e_n_is_half_the_zeta_score_where_k_is_two(x: float, y: float, u_x: float, u_y: float) -> None:
    # E1, ISO 13528 / ISO/IEC 17043 (S: itl.nist.gov, Dataplot, EN SCORE); zeta = (x - y) / sqrt(u_x² + u_y²).
    zeta = (x - y) / sqrt(u_x**2 + u_y**2)
    assert normalised_error(x, y, 2 * u_x, 2 * u_y) == pytest.approx(zeta / 2, rel=1e-9, abs=1e-12)


def test_the_limit_of_one_on_e_n_is_a_limit_of_two_on_zeta() -> None:
    # E1 (S; the criterion itself M): at the limit the difference is the expanded uncertainty of the difference.
    assert normalised_error(30.0 + sqrt(2.0), 30.0, 1.0, 1.0) == pytest.approx(1.0)


@given(amounts, amounts, uncertainties, uncertainties)
def test_e_n_turns_its_sign_with_the_order_and_shrinks_with_the_uncertainty(
    x: float, y: float, first: float, second: float
) -> None:
    forward, backward = normalised_error(x, y, first, second), normalised_error(y, x, second, first)
    assert forward == -backward
    assert abs(normalised_error(x, y, 2 * first, 2 * second)) <= abs(forward)


def test_without_any_uncertainty_only_equal_readings_agree() -> None:
    assert (normalised_error(1.0, 1.0, 0.0, 0.0), normalised_error(1.0, 2.0, 0.0, 0.0)) == (0.0, -inf)


def test_the_clamp_of_the_golden_case_has_the_expanded_uncertainty_of_its_rectangle() -> None:
    # metrology G (own): 30.0 A, ±(2.0 % + 5 counts of 0.1 A), u = 0.635 085 A.
    assert expanded_uncertainty_at(CLAMP, 30.0) == pytest.approx(2 * 0.635085, rel=1e-6)


def test_each_reading_is_compared_in_its_own_range_and_none_over_it() -> None:
    fine, coarse = pair_compared(RANGED, CLAMP, 39.0, 38.5), pair_compared(RANGED, CLAMP, 41.0, 40.5)
    assert fine.first_expanded_uncertainty == pytest.approx(2 * (39.0 * 0.015 + 0.05) / sqrt(3))
    assert coarse.first_expanded_uncertainty == pytest.approx(2 * (41.0 * 0.02 + 0.5) / sqrt(3))
    over = pair_compared(RANGED, CLAMP, 401.0, 399.0)
    assert (over.over_range, over.normalised_error) == (True, None)
    assert largest_normalised_error([fine, over]) == fine.normalised_error
    assert largest_normalised_error([over]) is None


@given(st.floats(-20, 20), st.floats(-2, 2), st.lists(st.floats(0, 400), min_size=2, max_size=6, unique=True))
def test_an_error_of_gain_and_zero_is_found_from_its_points(gain: float, zero: float, applied: list[float]) -> None:
    if max(applied) - min(applied) < 1.0:
        return
    points = [CalibrationPoint(value, value * (1 + gain / 100) + zero) for value in applied]
    error = found_error(points)
    assert error is not None
    assert error.gain_percent == pytest.approx(gain, abs=1e-6)
    assert error.zero == pytest.approx(zero, abs=1e-6)


@pytest.mark.parametrize(
    ("points", "error"),
    [
        ([], None),
        ([CalibrationPoint(50.0, 51.0)], FoundError(2.0, 0.0)),
        ([CalibrationPoint(50.0, 51.0), CalibrationPoint(50.0, 53.0)], FoundError(4.0, 0.0)),
        ([CalibrationPoint(0.0, 0.3)], FoundError(0.0, 0.3)),
    ],
)
def test_one_applied_value_tells_no_zero_from_a_gain(points: list[CalibrationPoint], error: FoundError | None) -> None:
    assert found_error(points) == error


@pytest.mark.parametrize(
    ("shown", "within"), [(102.551, True), (102.5511, False), (97.55, True), (97.54, False), (100.0, True)]
)
def test_an_error_up_to_the_stated_accuracy_is_within_it(shown: float, within: bool) -> None:
    # 100 A applied: |shown - 100| <= 2 % of shown + 0.5 A, so 99.5 / 1.02 = 97.549 02 A to 100.5 / 0.98 = 102.551 02 A.
    assert is_within_accuracy(CLAMP, [CalibrationPoint(100.0, shown)]) is within


def test_the_worst_point_decides_and_no_point_says_nothing() -> None:
    points = [CalibrationPoint(30.0, 30.1), CalibrationPoint(100.0, 105.0)]
    assert worst_share_of_accuracy(CLAMP, points) == pytest.approx(5.0 / 2.6)
    assert (worst_share_of_accuracy(CLAMP, []), is_within_accuracy(CLAMP, [])) == (None, None)
    assert is_within_accuracy(Meter(0.0, 0, 0.1), [CalibrationPoint(1.0, 1.1)]) is False
    assert is_within_accuracy(Meter(0.0, 0, 0.1), [CalibrationPoint(1.0, 1.0)]) is True
