"""Published figures for degrees of freedom, coverage factors and non-normal results.

Origin P: read in the primary text (JCGM 100:2008, JCGM 101:2008, JCGM 106:2012).  S: seen in a secondary source.
"""

import GTC
import numpy as np
import pytest

from calc.conformity import rectangle_with_normal_cdf
from calc.uncertainty import combined_u, coverage_factor, effective_degrees_of_freedom

# GUM H.1: the printed components 25, 9.7, 2.9, 16.6 nm unrounded again; the comparator's three parts from memory (M).
H1_NM = np.array(
    [
        [25.0],
        [(5.8**2 + 3.9**2 + 6.7**2) ** 0.5],
        [50.000623 * 0.1 / 3**0.5],
        [50.000623 * 11.5 * 0.05 / 3**0.5],
    ]
)
H1_DEGREES = np.array([[18.0], [25.6], [50.0], [2.0]])


def probability_within(half_interval: float, *, u_normal: float, half_width: float) -> float:
    return float(
        rectangle_with_normal_cdf(np.array(half_interval), np.array(u_normal), np.array(half_width))
        - rectangle_with_normal_cdf(np.array(-half_interval), np.array(u_normal), np.array(half_width))
    )


def test_the_end_gauge_has_the_published_degrees_of_freedom_when_nothing_is_rounded_midway() -> None:
    # B7, GUM H.1 (P): ν_eff printed 16.7.  The printed (32 nm)^4 would give 17.5: u_c stays unrounded.
    u_nm = combined_u(H1_NM)
    nu = effective_degrees_of_freedom(H1_NM, H1_DEGREES, u_nm)
    parts = (GTC.ureal(0.0, float(u), float(df)) for u, df in zip(H1_NM[:, 0], H1_DEGREES[:, 0], strict=True))
    independent = sum(parts)
    assert np.round(H1_NM[:, 0], 1).tolist() == [25.0, 9.7, 2.9, 16.6]
    assert float(u_nm[0]) == pytest.approx(GTC.uncertainty(independent), rel=1e-12)
    assert float(nu[0]) == pytest.approx(GTC.dof(independent), rel=1e-9)
    assert (round(float(u_nm[0]), 3), round(float(nu[0]), 2)) == (31.664, 16.75)
    assert round(float(effective_degrees_of_freedom(H1_NM, H1_DEGREES, np.array([32.0]))[0]), 1) == 17.5


# B9, GUM Table G.2 (P), 95.45 %.
@pytest.mark.parametrize(("degrees", "printed"), [(2, 4.53), (10, 2.28), (np.inf, 2.00)])
def test_t_at_95_45_percent_is_as_tabulated(degrees: float, printed: float) -> None:
    assert round(float(coverage_factor(np.array([float(degrees)]))[0]), 2) == printed


def test_k_is_exactly_two_when_all_is_type_b() -> None:
    assert float(coverage_factor(np.array([np.inf]))[0]) == 2.0


# B10, GUM G.1.3 note (P): one rectangle; k in units of its standard deviation.
@pytest.mark.parametrize(("k", "probability"), [(1.0, 0.5773503), (1.6454483, 0.95), (1.7147303, 0.99), (3**0.5, 1.0)])
def test_one_rectangle_covers_as_published(k: float, probability: float) -> None:
    u = 1 / 3**0.5
    assert probability_within(k * u, u_normal=0.0, half_width=1.0) == pytest.approx(probability, rel=1e-6)


# B18, JCGM 106 A.3.1 (P).
@pytest.mark.parametrize(
    ("k", "recomputed", "printed"), [(1, 0.682689, 68.3), (2, 0.954500, 95.5), (3, 0.997300, 99.7)]
)
def test_a_normal_result_covers_as_published(k: int, recomputed: float, printed: float) -> None:
    probability = probability_within(float(k), u_normal=1.0, half_width=0.0)
    assert probability == pytest.approx(recomputed, abs=5e-7)
    # 95.45 rounds to the printed 95.5 upwards only.
    assert 100 * probability == pytest.approx(printed, abs=0.0501)


def test_one_dominant_rectangle_covers_as_the_published_monte_carlo_says() -> None:
    # B13, JCGM 101 9.2.4 Table 4 (P): three u = 1 and one u = 10, all rectangular; 95 % within ±17.0, normal ±19.9.
    # The three small rectangles stand as one normal here, which moves the interval by less than 0.02.
    assert probability_within(17.0, u_normal=3**0.5, half_width=10 * 3**0.5) == pytest.approx(0.95, abs=0.0005)
    as_normal = probability_within(19.89, u_normal=103**0.5, half_width=0.0)
    assert as_normal == pytest.approx(0.95, abs=0.0005)


def test_a_hand_held_multimeter_is_nearly_one_rectangle() -> None:
    # B14, EA-4/02 S9 (S): U = 0.05 V; the rectangle convolved with its two small parts exactly gives 0.0506 V at 95 %.
    # Taken as normal, the small parts (one of them a rectangle itself) make it 0.0501 V; both print as 0.05.
    rest_v = (0.001**2 + (0.011 / 3**0.5) ** 2) ** 0.5
    assert probability_within(0.0501, u_normal=rest_v, half_width=0.05) == pytest.approx(0.95, abs=0.0005)
    assert probability_within(0.0506, u_normal=rest_v, half_width=0.05) == pytest.approx(0.95, abs=0.005)
