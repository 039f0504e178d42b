"""Published figures for copper: resistance against temperature.

Origin S: seen in a secondary source.  M: from memory.  D: derived from the formula itself, kept as a regression table.
"""

import numpy as np
import pytest

from calc.copper import COPPER_TEMPERATURE_COEFFICIENT_PER_K, normalised_current_a, resistance_growth, resistance_ratio
from calc.errors import OutOfRange


def test_the_coefficient_at_20_degrees() -> None:
    # C1 and C3, IEC 60028:1925 (S): 0.00393 1/K and the constant 234.5.
    assert pytest.approx(1 / (234.5 + 20), rel=1e-12) == COPPER_TEMPERATURE_COEFFICIENT_PER_K
    assert round(COPPER_TEMPERATURE_COEFFICIENT_PER_K, 5) == 0.00393


def test_a_resistance_at_50_degrees() -> None:
    # C5, example after IEC 60028 (S): 0.1 Ω at 20 °C is 0.11179 Ω at 50 °C, with 0.003 93.
    resistance_ohm = 0.1 * resistance_ratio(50.0, temperature_coefficient_per_k=0.00393)
    assert resistance_ohm == pytest.approx(0.11179, rel=1e-6)
    assert round(resistance_ohm / 0.1, 4) == 1.1179


# C6, copper correction factors on a base of 25 °C (S).
@pytest.mark.parametrize(
    ("temperature_c", "factor"), [(50, 1.096), (75, 1.193), (100, 1.289), (125, 1.385), (150, 1.482), (200, 1.674)]
)
def test_correction_factors_on_a_base_of_25_degrees(temperature_c: float, factor: float) -> None:
    ratio = resistance_ratio(float(temperature_c), reference_temperature_c=25.0)
    assert ratio == pytest.approx((234.5 + temperature_c) / 259.5, rel=1e-12)
    # 200 °C recomputes to 1.6744, 150 °C to 1.4817: both print as published.
    assert round(ratio, 3) == factor


def test_the_constant_of_the_machine_rules_makes_no_difference() -> None:
    # C4, IEC 60034-1 8.6 (M): k = 235 gives 1.5098 at 150 °C against 1.5108.
    assert round(resistance_ratio(150.0), 4) == 1.5108
    assert resistance_ratio(150.0) == pytest.approx(385 / 255, rel=7e-4)


def test_the_coefficient_at_another_reference() -> None:
    # C10, NEC table 8 note (M): 0.00323 at 75 °C.
    coefficient = COPPER_TEMPERATURE_COEFFICIENT_PER_K / resistance_growth(75.0)
    assert coefficient == pytest.approx(1 / 309.5, rel=1e-9)
    assert round(coefficient, 5) == 0.00323


def test_traps_found_in_print_are_not_fallen_into() -> None:
    # T1 (S): 0.00428, valid about 0 °C, used about the start temperature.  50 Ω at 20 °C is 58 Ω at 60.7 °C, not 57 °C;
    # 108 Ω at 22 °C is 132.42 Ω at 80 °C, not 134.73 Ω.
    assert round(50 * resistance_ratio(60.72), 2) == 58.0
    assert 50 * resistance_ratio(57.0) < 57.3
    assert round(108 * resistance_ratio(80.0, reference_temperature_c=22.0), 2) == 132.42


def test_the_coefficient_belongs_to_its_reference() -> None:
    # Surprise 7 (own): α20 about a base of 25 °C at 90 °C gives 1.2555, right is 1.2505.
    assert round(resistance_ratio(90.0, reference_temperature_c=25.0), 4) == 1.2505
    assert round(1 + COPPER_TEMPERATURE_COEFFICIENT_PER_K * 65, 4) == 1.2554


# Copper at fixed volts, base 20 °C, 254.5/(234.5 + T) in percent (D).
TEMPERATURES_C = np.array([-20.0, 0, 20, 40, 60, 80, 100, 120, 150, 180])
CURRENT_PERCENT = [118.6, 108.5, 100, 92.7, 86.4, 80.9, 76.1, 71.8, 66.2, 61.4]


def test_a_hot_coil_draws_less_and_normalising_gives_it_back() -> None:
    drawn_percent = 100 / resistance_ratio(TEMPERATURES_C)
    assert np.round(drawn_percent, 1).tolist() == CURRENT_PERCENT
    given_back = normalised_current_a(
        drawn_percent, supply_voltage_v=24.0, coil_temperature_c=TEMPERATURES_C, reference_voltage_v=24.0
    )
    assert given_back == pytest.approx(100.0, rel=1e-12)


@pytest.mark.parametrize(
    ("argument", "value", "limits"),
    [
        ("coil_temperature_c", -60.1, (-60.0, 400.0)),
        ("coil_temperature_c", 400.1, (-60.0, 400.0)),
        ("coil_temperature_c", float("nan"), (-60.0, 400.0)),
        ("reference_temperature_c", 500.0, (-60.0, 400.0)),
        ("supply_voltage_v", -13.8, (1e-3, 1e6)),
        ("supply_voltage_v", 0.0, (1e-3, 1e6)),
        ("reference_voltage_v", 0.0, (1e-3, 1e6)),
        ("current_a", float("inf"), (-1e6, 1e6)),
    ],
)
def test_an_argument_out_of_range_is_named_with_its_value_and_range(
    argument: str, value: float, limits: tuple[float, float]
) -> None:
    usual = {"current_a": 30.0, "supply_voltage_v": 24.0, "coil_temperature_c": 20.0, "reference_voltage_v": 24.0}
    given = usual | {argument: value}
    with pytest.raises(OutOfRange) as refusal:
        normalised_current_a(given.pop("current_a"), **given)
    assert (refusal.value.quantity, refusal.value.lowest, refusal.value.highest) == (argument, *limits)
    assert refusal.value.value == pytest.approx(value, nan_ok=True)
    assert argument in str(refusal.value)


def test_one_value_of_many_out_of_range_is_found() -> None:
    with pytest.raises(OutOfRange, match="coil_temperature_c = 401"):
        resistance_ratio(np.array([20.0, 401.0, 20.0]))
