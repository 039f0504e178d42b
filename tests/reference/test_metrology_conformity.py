"""Published figures for conformance probability, guard bands and decision rules.

Origin P: read in the primary text (JCGM 106:2012).  S: seen on page images or in a secondary source (ILAC-G8:09/2019).
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc.columns import GUARDED, MAX_FALSE_ACCEPT, SIMPLE
from calc.conformity import VERDICTS, capability, classify, conformance_probability, guard_band


def normal_probability(value: float, u: float, lower: float = -np.inf, upper: float = np.inf) -> float:
    return float(conformance_probability(*(np.array(number) for number in (value, u, 0.0, lower, upper))))


def guard_of(rule: int, probability: float = 0.05) -> float:
    """Return w for u = 1 and U = 2."""
    return float(guard_band(np.array([rule]), np.array([2.0]), np.array([1.0]), np.array([probability]))[0])


def class_of(value: float, guard: float) -> str:
    limits = np.array([90.0]), np.array([110.0])
    return VERDICTS[int(classify(np.array([value]), *limits, np.array([guard]), np.array([0.0]))[0])]


# C1, JCGM 106 7.3.3 Table 1 (P): z 0.84, 1.28, 1.64, 2.33, 3.09.  1.6449 is printed cut to 1.64.
@pytest.mark.parametrize(
    ("conformance", "z"),
    [(0.80, 0.8416212), (0.90, 1.2815516), (0.95, 1.6448536), (0.99, 2.3263479), (0.999, 3.0902323)],
)
def test_the_guard_band_of_a_largest_false_acceptance_is_z(conformance: float, z: float) -> None:
    assert guard_of(MAX_FALSE_ACCEPT, 1 - conformance) == pytest.approx(z, rel=1e-6)
    assert normal_probability(0.0, 1.0, upper=z) == pytest.approx(conformance, rel=1e-6)


def test_a_diode_below_an_upper_limit_conforms_as_published() -> None:
    # C2, JCGM 106 7.3.3 Ex. 1 (P): 0.92.
    probability = normal_probability(-5.47, 0.05, upper=-5.40)
    assert probability == pytest.approx(0.919243, rel=1e-6)
    assert round(probability, 2) == 0.92


def test_a_viscosity_between_two_limits_conforms_as_published() -> None:
    # C4, JCGM 106 7.4 Ex. (P): 0.93 − 0.27 = 0.66; from unrounded z.
    probability = normal_probability(13.6, 1.8, 12.5, 16.3)
    assert probability == pytest.approx(0.662630, rel=1e-6)
    assert round(probability, 2) == 0.66


def test_a_capability_of_four_is_a_sixteenth_of_the_tolerance() -> None:
    # C5, JCGM 106 7.6.4 (P).
    assert float(capability(np.array([0.0]), np.array([16.0]), np.array([2.0]))[0]) == 4.0


def test_at_capability_one_only_the_middle_conforms_with_95_percent() -> None:
    # C6, JCGM 106 7.7.5 (P): 0.45 <= (y − T_L)/T <= 0.55; T = 4u.
    assert normal_probability(2.0, 1.0, 0.0, 4.0) == pytest.approx(0.954500, abs=5e-7)
    for edge in (0.449053, 0.550947):
        assert normal_probability(4 * edge, 1.0, 0.0, 4.0) == pytest.approx(0.95, abs=1e-6)


@given(value=st.floats(-5, 25), u=st.floats(0.01, 5))
def test_a_coverage_interval_inside_the_limits_conforms_at_least_as_surely(value: float, u: float) -> None:
    # C7, JCGM 106 7.5.4 (P).
    inside = value - 1.959964 * u >= 0 and value + 1.959964 * u <= 20
    assert not inside or normal_probability(value, u, 0.0, 20.0) >= 0.95 - 1e-6


# C9, JCGM 106 8.3.2.3 (P): at the acceptance limit, w = U = 2u.  Both tails count as capability nears 1.
@pytest.mark.parametrize(
    ("capable", "recomputed"), [(1.0, 0.954500), (1.25, 0.975900), (1.5, 0.977218), (4.0, 0.977250)]
)
def test_a_guard_band_of_u_holds_false_acceptance_as_recomputed(capable: float, recomputed: float) -> None:
    width = 4 * capable
    assert normal_probability(width - 2.0, 1.0, 0.0, width) == pytest.approx(recomputed, abs=1.5e-6)


# ILAC-G8:09/2019 Table 1 as quoted (S), with U = 2u: w/U against the false acceptance.
@pytest.mark.parametrize(("share_of_u", "risk"), [(3.0, 9.9e-10), (1.5, 0.00135), (1.0, 0.02275), (0.83, 0.04846)])
def test_multiples_of_u_hold_the_quoted_false_acceptance(share_of_u: float, risk: float) -> None:
    assert guard_of(MAX_FALSE_ACCEPT, risk) / 2 == pytest.approx(share_of_u, rel=2e-3)


def test_each_rule_has_its_guard_band() -> None:
    # ILAC-G8:09/2019 4.2.1 and 4.2.3 (S); JCGM 106 8.3.1.2 (P): half the results at a limit are falsely accepted.
    assert guard_of(SIMPLE) == 0.0
    assert guard_of(GUARDED) == 2.0
    assert guard_of(MAX_FALSE_ACCEPT, 0.05) == pytest.approx(0.8224 * 2, rel=1e-4)
    assert guard_of(MAX_FALSE_ACCEPT, 0.5) == pytest.approx(0.0, abs=1e-12)


# ILAC-G8:09/2019 4.2.3 (S), JCGM 106 3.3.9 Note 1 (P): limits belong to acceptance.
@pytest.mark.parametrize(
    ("value", "guarded", "simple"),
    [
        (87.99, "fail", "fail"),
        (88.0, "conditional_fail", "fail"),
        (89.99, "conditional_fail", "fail"),
        (90.0, "conditional_pass", "pass"),
        (91.99, "conditional_pass", "pass"),
        (92.0, "pass", "pass"),
        (108.0, "pass", "pass"),
        (108.01, "conditional_pass", "pass"),
        (110.0, "conditional_pass", "pass"),
        (110.01, "conditional_fail", "fail"),
        (112.0, "conditional_fail", "fail"),
        (112.01, "fail", "fail"),
    ],
)
def test_every_value_has_its_class(value: float, guarded: str, simple: str) -> None:
    assert (class_of(value, 2.0), class_of(value, 0.0)) == (guarded, simple)
