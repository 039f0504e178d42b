"""The coil temperature to judge with: how well each way of obtaining it knows it, and what stands in for an unknown."""

from collections.abc import Mapping
from math import inf
from typing import NamedTuple

from calc.circumstances import TemperatureInputs
from calc.cooling import Estimate, temperature_from_cold_resistance, temperature_from_cooling
from calc.copper import HIGHEST_COIL_TEMPERATURE_C, LOWEST_COIL_TEMPERATURE_C
from calc.evidence import Evidence, TemperatureMethod

# Judgement, not data: no source gives these bounds for driveline retarder coils.  [°C]
USUAL_BOUND_C = {
    "measured": 5.0,
    "measured_bare_metal_after_driving": 10.0,
    "measured_painted_metal_after_driving": 15.0,
    "parked": 3.0,
    "parked_moved_indoors": 8.0,
    "parked_under_10_hours": 15.0,
    "cold_resistance": 5.0,
    "cooling_model": 15.0,
    "unknown": 30.0,
}
ASSUMED_TEMPERATURE_C = 50.0
HOURS_TO_REACH_THE_AIR = 10.0
# Judgement, not data: what a start temperature after driving is worth where nobody says.
USUAL_START_BOUND_C = 40.0
_NOTHING_KNOWN = TemperatureInputs()


class CoilTemperature(NamedTuple):
    """Coil temperature and the half-width of its rectangular bound. [°C]"""

    temperature_c: float
    bound_c: float
    assumed: bool
    below_usual_bound_c: float | None
    worked_out: bool = False


def coil_temperature(evidence: Evidence) -> CoilTemperature:
    """Return the coil temperature to judge with, and how much of it is assumed.

    A temperature that is not stated is worked out from what its method rests on.  An unknown one stands as 50 ± 30 °C.
    A bound below the usual one of its method is taken as stated.

    Examples
    --------
    >>> USUAL_BOUND_C["parked"]
    3.0
    """
    method = evidence.coil_temperature_method
    if method == "unknown":
        return _unknown(evidence)
    stated_c, bound_c = evidence.coil_temperature_c, evidence.coil_temperature_bound_c
    if stated_c is None:
        estimate = worked_out(method, evidence.temperature_inputs)
        return _unknown(evidence) if estimate is None else _from_estimate(evidence, estimate)
    usual_c = usual_bound_c(method, evidence.temperature_inputs, evidence.usual_temperature_bounds_c)
    if bound_c is None:
        return CoilTemperature(stated_c, usual_c, assumed=True, below_usual_bound_c=None)
    below_c = usual_c if method is not None and bound_c < usual_c else None
    return CoilTemperature(stated_c, bound_c, assumed=False, below_usual_bound_c=below_c)


def judged_temperature_c(evidence: Evidence) -> tuple[float, float]:
    """Return the coil temperature to judge with and its bound, without how they came about. [°C]"""
    stated_c, bound_c = evidence.coil_temperature_c, evidence.coil_temperature_bound_c
    if stated_c is not None and bound_c is not None and evidence.coil_temperature_method != "unknown":
        return stated_c, bound_c
    return coil_temperature(evidence)[:2]


def usual_bound_c(
    method: TemperatureMethod | None, inputs: TemperatureInputs | None, edited: Mapping[str, float] | None = None
) -> float:
    """Return how well a method usually knows the temperature under these circumstances.

    Parameters
    ----------
    method : str or None
        How the temperature was obtained; None knows no better than `unknown`.
    inputs : TemperatureInputs or None
        The circumstances, as far as they are known.
    edited : mapping or None
        Bounds that stand in for those of the table, by its keys. [°C]

    Returns
    -------
    float
        Half-width of the bound. [°C]

    Examples
    --------
    >>> usual_bound_c("measured", TemperatureInputs(surface="painted_metal", driven_before=True))
    15.0
    >>> usual_bound_c("parked", TemperatureInputs(hours_parked=12.0, moved_indoors=True))
    8.0
    """
    key = _circumstance(method, inputs or _NOTHING_KNOWN)
    return (edited or {}).get(key, USUAL_BOUND_C[key])


def worked_out(method: TemperatureMethod | None, inputs: TemperatureInputs | None) -> Estimate | None:
    """Return the temperature that a method's inputs give, None where they do not suffice.

    Examples
    --------
    >>> worked_out("parked", TemperatureInputs(air_temperature_c=12.0)).temperature_c
    12.0
    """
    estimate = None if inputs is None else _estimate(method, inputs)
    # What no winding can have was worked out from another winding, or from a wrong figure: it says nothing.
    return estimate if estimate is not None and _is_plausible(estimate) else None


def _estimate(method: TemperatureMethod | None, inputs: TemperatureInputs) -> Estimate | None:
    if method == "parked" and inputs.air_temperature_c is not None:
        return Estimate(inputs.air_temperature_c, None)
    if method == "cold_resistance":
        return _from_resistances(inputs)
    return _from_cooling(inputs) if method == "cooling_model" else None


def _is_plausible(estimate: Estimate) -> bool:
    in_range = LOWEST_COIL_TEMPERATURE_C <= estimate.temperature_c <= HIGHEST_COIL_TEMPERATURE_C
    return in_range and (estimate.bound_c or 0.0) <= HIGHEST_COIL_TEMPERATURE_C


def _circumstance(method: TemperatureMethod | None, inputs: TemperatureInputs) -> str:
    if method == "measured" and inputs.driven_before and inputs.surface in ("bare_metal", "painted_metal"):
        return f"measured_{inputs.surface}_after_driving"
    if (
        method == "parked"
        and (inputs.hours_parked if inputs.hours_parked is not None else inf) < HOURS_TO_REACH_THE_AIR
    ):
        return "parked_under_10_hours"
    if method == "parked" and inputs.moved_indoors:
        return "parked_moved_indoors"
    return method or "unknown"


def _unknown(evidence: Evidence) -> CoilTemperature:
    bound_c = usual_bound_c("unknown", None, evidence.usual_temperature_bounds_c)
    return CoilTemperature(ASSUMED_TEMPERATURE_C, bound_c, assumed=True, below_usual_bound_c=None)


def _from_estimate(evidence: Evidence, estimate: Estimate) -> CoilTemperature:
    method, inputs = evidence.coil_temperature_method, evidence.temperature_inputs
    usual_c = usual_bound_c(method, inputs, evidence.usual_temperature_bounds_c)
    # A model's own spread says nothing of how well the model holds: the usual bound stays its least.
    own_c = usual_c if estimate.bound_c is None else max(usual_c, estimate.bound_c)
    bound_c = evidence.coil_temperature_bound_c
    if bound_c is None:
        return CoilTemperature(estimate.temperature_c, own_c, False, None, worked_out=True)
    below_c = own_c if bound_c < own_c else None
    return CoilTemperature(estimate.temperature_c, bound_c, False, below_c, worked_out=True)


def _from_resistances(inputs: TemperatureInputs) -> Estimate | None:
    now_ohm, cold_ohm, cold_c = inputs.resistance_now_ohm, inputs.resistance_cold_ohm, inputs.cold_temperature_c
    if now_ohm is None or cold_ohm is None or cold_c is None:
        return None
    return temperature_from_cold_resistance(
        now_ohm,
        cold_ohm,
        cold_c,
        resistance_now_bound_ohm=inputs.resistance_now_bound_ohm,
        resistance_cold_bound_ohm=inputs.resistance_cold_bound_ohm,
        cold_temperature_bound_c=inputs.cold_temperature_bound_c,
    )


def _from_cooling(inputs: TemperatureInputs) -> Estimate | None:
    start_c, air_c, minutes = inputs.start_temperature_c, inputs.air_temperature_c, inputs.minutes_since_stop
    if start_c is None or air_c is None or minutes is None:
        return None
    bound_c = inputs.start_temperature_bound_c
    start_bound_c = USUAL_START_BOUND_C if bound_c is None else bound_c
    return temperature_from_cooling(
        start_c, air_c, minutes, start_bound_c=start_bound_c, time_constant_minutes=inputs.time_constant_minutes
    )
