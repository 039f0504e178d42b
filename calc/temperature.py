"""How well each way of obtaining the coil temperature usually knows it, and what stands in when it is not known."""

from typing import NamedTuple

from calc.evidence import Evidence

# Judgement, not data: no source gives these bounds for driveline retarder coils.
USUAL_BOUND_C = {"measured": 5.0, "parked": 3.0, "cold_resistance": 5.0, "cooling_model": 15.0, "unknown": 30.0}
ASSUMED_TEMPERATURE_C = 50.0


class CoilTemperature(NamedTuple):
    """Coil temperature and the half-width of its rectangular bound. [°C]"""

    temperature_c: float
    bound_c: float
    assumed: bool
    below_usual_bound_c: float | None


def coil_temperature(evidence: Evidence) -> CoilTemperature:
    """Return the coil temperature to judge with, and how much of it is assumed.

    An unknown temperature stands as 50 ± 30 °C.  A bound below the usual one of its method is taken as stated.

    Examples
    --------
    >>> USUAL_BOUND_C["parked"]
    3.0
    """
    method = evidence.coil_temperature_method
    if evidence.coil_temperature_c is None or method == "unknown":
        return CoilTemperature(ASSUMED_TEMPERATURE_C, USUAL_BOUND_C["unknown"], assumed=True, below_usual_bound_c=None)
    usual = USUAL_BOUND_C[method or "unknown"]
    bound = evidence.coil_temperature_bound_c
    if bound is None:
        return CoilTemperature(evidence.coil_temperature_c, usual, assumed=True, below_usual_bound_c=None)
    below = usual if method is not None and bound < usual else None
    return CoilTemperature(evidence.coil_temperature_c, bound, assumed=False, below_usual_bound_c=below)
