"""How each method obtains the coil temperature, and how well it is taken to know it."""

from math import sqrt

import GTC
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc.circumstances import TemperatureInputs
from calc.cooling import temperature_from_cold_resistance, temperature_from_cooling
from calc.errors import OutOfRange
from calc.evidence import Evidence, TemperatureMethod
from calc.judge import judge
from calc.temperature import USUAL_BOUND_C, coil_temperature, usual_bound_c, worked_out
from tests.calc.builders import evidence, read_alone


def unstated(method: TemperatureMethod, inputs: TemperatureInputs | None = None, **changes: object) -> Evidence:
    return evidence(
        (read_alone(1, 36.3),),
        coil_temperature_c=None,
        coil_temperature_bound_c=None,
        coil_temperature_method=method,
        temperature_inputs=inputs,
        **changes,
    )


@pytest.mark.parametrize(
    ("method", "inputs", "bound_c"),
    [
        ("measured", None, 5.0),
        ("measured", TemperatureInputs(surface="painted_metal"), 5.0),
        ("measured", TemperatureInputs(surface="painted_metal", driven_before=True), 15.0),
        ("measured", TemperatureInputs(surface="bare_metal", driven_before=True), 10.0),
        ("measured", TemperatureInputs(surface="winding", driven_before=True), 5.0),
        ("parked", None, 3.0),
        ("parked", TemperatureInputs(hours_parked=10.0), 3.0),
        ("parked", TemperatureInputs(hours_parked=10.0, moved_indoors=True), 8.0),
        ("parked", TemperatureInputs(hours_parked=9.9), 15.0),
        ("cold_resistance", None, 5.0),
        ("cooling_model", None, 15.0),
        ("unknown", None, 30.0),
        (None, None, 30.0),
    ],
)
def test_each_method_has_a_usual_bound_that_its_circumstances_widen(
    method: TemperatureMethod | None, inputs: TemperatureInputs | None, bound_c: float
) -> None:
    assert usual_bound_c(method, inputs) == bound_c


def test_the_usual_bounds_are_the_organisations_to_edit() -> None:
    edited = {"parked": 4.0}
    assert usual_bound_c("parked", None, edited) == 4.0
    assert usual_bound_c("measured", None, edited) == USUAL_BOUND_C["measured"]
    visit = evidence(
        coil_temperature_method="parked", coil_temperature_bound_c=None, usual_temperature_bounds_c={"parked": 4.0}
    )
    assert coil_temperature(visit).bound_c == 4.0


def test_a_painted_surface_after_driving_is_taken_as_15_degrees_and_said_to_be_assumed() -> None:
    inputs = TemperatureInputs(surface="painted_metal", driven_before=True)
    visit = evidence(
        coil_temperature_c=60.0,
        coil_temperature_bound_c=None,
        coil_temperature_method="measured",
        temperature_inputs=inputs,
    )
    assert coil_temperature(visit).bound_c == 15.0
    assert "coil_temperature_assumed" in [finding.code for finding in judge(visit, rank="never").findings]


def test_a_tighter_bound_on_a_painted_surface_is_taken_as_stated_and_noted() -> None:
    inputs = TemperatureInputs(surface="painted_metal", driven_before=True)
    visit = evidence(
        coil_temperature_c=60.0,
        coil_temperature_bound_c=6.0,
        coil_temperature_method="measured",
        temperature_inputs=inputs,
    )
    coil = coil_temperature(visit)
    assert (coil.bound_c, coil.below_usual_bound_c) == (6.0, 15.0)


def test_a_parked_vehicle_has_the_temperature_of_the_air_where_it_stood() -> None:
    visit = unstated("parked", TemperatureInputs(air_temperature_c=12.0, hours_parked=14.0))
    coil = coil_temperature(visit)
    assert (coil.temperature_c, coil.bound_c, coil.worked_out) == (12.0, 3.0, True)
    judgement = judge(visit, rank="never")
    assert judgement.stages[0].normalised_current_a == pytest.approx(36.3 * 246.5 / 254.5)
    assert "coil_temperature_worked_out" in [finding.code for finding in judgement.findings]


# Traps found in print (S): 50 Ω at 20 °C is 58 Ω at 60.7 °C, and not 57 °C; recomputed with k = 234.5.
def test_a_resistance_that_grew_from_50_to_58_ohm_means_60_7_degrees() -> None:
    assert round(temperature_from_cold_resistance(58.0, 50.0, 20.0).temperature_c, 1) == 60.7
    assert temperature_from_cold_resistance(132.42, 108.0, 22.0).temperature_c == pytest.approx(80.0, abs=0.05)


@given(
    ratio=st.floats(0.9, 1.6),
    cold_ohm=st.floats(0.1, 2.0),
    cold_c=st.floats(-10, 40),
    share=st.floats(1e-4, 5e-3),
    bound_c=st.floats(0.1, 5.0),
)
def test_gtc_agrees_with_the_bound_of_a_cold_resistance(
    ratio: float, cold_ohm: float, cold_c: float, share: float, bound_c: float
) -> None:
    now_ohm = ratio * cold_ohm
    estimate = temperature_from_cold_resistance(
        now_ohm,
        cold_ohm,
        cold_c,
        resistance_now_bound_ohm=share * now_ohm,
        resistance_cold_bound_ohm=share * cold_ohm,
        cold_temperature_bound_c=bound_c,
    )
    now = GTC.ureal(now_ohm, share * now_ohm / sqrt(3))
    cold = GTC.ureal(cold_ohm, share * cold_ohm / sqrt(3))
    independent = now / cold * (234.5 + GTC.ureal(cold_c, bound_c / sqrt(3))) - 234.5
    assert estimate.temperature_c == pytest.approx(GTC.value(independent), abs=1e-9)
    assert estimate.bound_c == pytest.approx(GTC.uncertainty(independent) * sqrt(3), rel=1e-9)


def test_a_cold_resistance_is_judged_with_no_less_than_its_usual_bound() -> None:
    exact = TemperatureInputs(resistance_now_ohm=0.39, resistance_cold_ohm=0.34, cold_temperature_c=15.0)
    coil = coil_temperature(unstated("cold_resistance", exact))
    assert coil.temperature_c == pytest.approx(0.39 / 0.34 * 249.5 - 234.5)
    assert coil.bound_c == 5.0


def test_it_takes_the_readings_that_are_judged_for_no_resistance() -> None:
    # Volts and amps are there, but no separate four-wire reading: nothing tells the temperature.
    coil = coil_temperature(unstated("cold_resistance", TemperatureInputs(resistance_cold_ohm=0.34)))
    assert (coil.temperature_c, coil.bound_c, coil.assumed) == (50.0, 30.0, True)


def test_a_resistance_that_no_winding_could_have_says_nothing() -> None:
    other_winding = TemperatureInputs(resistance_now_ohm=3.4, resistance_cold_ohm=0.34, cold_temperature_c=15.0)
    assert worked_out("cold_resistance", other_winding) is None
    assert coil_temperature(unstated("cold_resistance", other_winding)).assumed


def test_a_coil_cools_to_the_air_and_starts_where_it_was() -> None:
    def cooled(minutes: float) -> float:
        return temperature_from_cooling(140.0, 20.0, minutes, start_bound_c=20.0).temperature_c

    assert cooled(0.0) == 140.0
    assert cooled(1e4) == pytest.approx(20.0)
    # One time constant: 63.2 % of the way (Newton's law of cooling).
    assert cooled(45.0) == pytest.approx(20 + 120 * 0.36788, abs=1e-3)


@given(
    start_c=st.floats(-20, 250),
    air_c=st.floats(-20, 45),
    minutes=st.floats(0, 600),
    start_off=st.floats(-1, 1),
    air_off=st.floats(-1, 1),
    slower=st.floats(0.5, 2.0),
)
def test_the_bound_of_the_cooling_model_holds_every_cooling_that_is_thought_possible(
    start_c: float, air_c: float, minutes: float, start_off: float, air_off: float, slower: float
) -> None:
    estimate = temperature_from_cooling(start_c, air_c, minutes, start_bound_c=30.0)
    possible = temperature_from_cooling(
        start_c + 30.0 * start_off,
        air_c + 5.0 * air_off,
        minutes,
        start_bound_c=0.0,
        time_constant_minutes=45.0 * slower,
    )
    assert estimate.bound_c is not None
    assert abs(possible.temperature_c - estimate.temperature_c) <= estimate.bound_c + 1e-9


def test_a_cooling_model_is_never_taken_as_better_than_its_usual_bound() -> None:
    long_ago = TemperatureInputs(start_temperature_c=120.0, air_temperature_c=15.0, minutes_since_stop=900.0)
    coil = coil_temperature(unstated("cooling_model", long_ago))
    assert coil.temperature_c == pytest.approx(15.0, abs=1e-3)
    assert coil.bound_c == 15.0
    soon = TemperatureInputs(start_temperature_c=120.0, air_temperature_c=15.0, minutes_since_stop=20.0)
    assert coil_temperature(unstated("cooling_model", soon)).bound_c > 15.0


def test_an_unknown_temperature_stands_as_50_within_30_whatever_else_is_said() -> None:
    visit = unstated("unknown", TemperatureInputs(air_temperature_c=12.0))
    coil = coil_temperature(visit)
    assert (coil.temperature_c, coil.bound_c, coil.assumed) == (50.0, 30.0, True)


@pytest.mark.parametrize(
    ("call", "quantity"),
    [
        (lambda: temperature_from_cold_resistance(0.0, 0.3, 20.0), "resistance_now_ohm"),
        (lambda: temperature_from_cold_resistance(0.3, -1.0, 20.0), "resistance_cold_ohm"),
        (lambda: temperature_from_cold_resistance(0.3, 0.3, 500.0), "cold_temperature_c"),
        (lambda: temperature_from_cooling(500.0, 20.0, 1.0, start_bound_c=1.0), "start_temperature_c"),
        (lambda: temperature_from_cooling(90.0, -99.0, 1.0, start_bound_c=1.0), "air_temperature_c"),
        (lambda: temperature_from_cooling(90.0, 20.0, -1.0, start_bound_c=1.0), "minutes_since_stop"),
    ],
)
def test_what_no_method_holds_for_is_refused_by_name(call: object, quantity: str) -> None:
    with pytest.raises(OutOfRange) as refusal:
        call()  # type: ignore[operator]
    assert refusal.value.quantity == quantity
