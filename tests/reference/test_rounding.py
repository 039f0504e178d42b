"""A value and its uncertainty as they are written on pages and records."""

import pytest

from dashboard.templatetags.amounts import beside, uncertainty


@pytest.mark.parametrize(
    ("value", "u", "written"),
    [
        # A14, JCGM 100:2008, 7.2.6 (P): the output in ohms; 28.05 kHz is rounded down.  10.47 may be rounded up to 11
        # there; here to the nearer, as no digit is lost that counts (less than 5 % of u).
        (10.05762, 0.027, "10.058 ± 0.027"),
        (1000.0, 28.05, "1000 ± 28"),
        (1000.0, 10.47, "1000 ± 10"),
        # Rounding carries.
        (34.97, 0.9967, "35.0 ± 1.0"),
        (101.2, 99.96, "101 ± 100"),
    ],
)
def test_an_uncertainty_has_two_digits_and_its_value_ends_at_the_same_place(
    value: float, u: float, written: str
) -> None:
    assert f"{beside(value, u)} ± {uncertainty(u)}" == written
