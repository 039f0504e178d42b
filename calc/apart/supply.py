"""The supply under load, held against the limits that the user set."""

from calc.errors import RELATIVE_SLACK
from calc.evidence import Evidence, StageReading
from calc.evidence_apart import Checked, Limits
from calc.judgement import Finding


def supply(evidence: Evidence, limits: Limits) -> tuple[Checked, tuple[Finding, ...]]:
    """Return whether the box keeps its voltage with all stages on.

    Without a limit, or with the engine standing, nothing is checked.  With only some stages on, a voltage under the
    limit is bad already; one above it says nothing of the full load.

    Examples
    --------
    >>> from calc.evidence import Meter, Rating
    >>> unit = Rating((35.0,), 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)
    >>> sagging = (StageReading(1, (1,), 11.8, 34.0),)
    >>> visit = Evidence(unit, Meter(2.0, 5, 0.1), Meter(0.5, 2, 0.01), 20.0, 5.0, sagging, engine_state="idle")
    >>> supply(visit, Limits(supply_voltage_low_v=12.5))[0]
    'bad'
    """
    low_v, high_v = limits.supply_voltage_low_v, limits.supply_voltage_high_v
    if (low_v is None and high_v is None) or not evidence.stage_readings or evidence.engine_state == "off":
        return "not_checked", ()
    highest = max(evidence.stage_readings, key=lambda reading: reading.supply_voltage_v)
    lowest = min(evidence.stage_readings, key=lambda reading: reading.supply_voltage_v)
    if low_v is not None and lowest.supply_voltage_v < low_v * (1 - RELATIVE_SLACK):
        return "bad", (_finding("supply_voltage_low", lowest, low_v),)
    if high_v is not None and highest.supply_voltage_v > high_v * (1 + RELATIVE_SLACK):
        return "bad", (_finding("supply_voltage_high", highest, high_v),)
    return ("good" if _all_on(evidence) else "not_checked"), ()


def _finding(code: str, reading: StageReading, limit_v: float) -> Finding:
    params = {
        "supply_voltage_v": reading.supply_voltage_v,
        "limit_v": limit_v,
        "stages_on": len(set(reading.energised)),
    }
    return Finding(code, "defect", None, params)


def _all_on(evidence: Evidence) -> bool:
    return any(len(set(reading.energised)) == evidence.rating.stages for reading in evidence.stage_readings)
