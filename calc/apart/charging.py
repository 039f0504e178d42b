"""Battery, alternator and cables under the full load: which of them limits."""

from collections.abc import Iterator

from calc.evidence import Evidence
from calc.evidence_apart import ApartEvidence, BatteryReadings, Checked, Limits
from calc.judgement import Finding

# For a 12 V system; twice as much for 24 V.  Lead-acid at rest: 12.2 V at half charge (public battery guidance, a
# secondary source).  Engine running: 13 to 16 V (a public test supply range, a secondary source).  [V]
AT_REST_LOW_V = 12.2
CHARGING_LOW_V = 13.0
CHARGING_HIGH_V = 16.0
# A full battery at rest; a source that falls below it under load is the battery.
BATTERY_CARRIES_BELOW_V = 12.7
# Judgement, not data: a battery that is carried keeps its volts for ten seconds within this.  [V]
FALL_IN_10_S_V = 0.3
# Twice the rule of thumb for a heavy circuit, 0.20 V per 100 A: supply and ground.  A secondary source.
CABLE_DROP_V_PER_A = 0.004
UNKNOWN_LOAD = "?"
_SYSTEM_V = 12.0


def charging(evidence: Evidence, given: ApartEvidence) -> tuple[Checked, tuple[Finding, ...]]:
    """Return whether the source holds the load, and which of battery, alternator and cables limits where it does not.

    At idle an alternator gives less than its rating, so that a load it cannot carry there is a caution and no defect.

    Examples
    --------
    >>> from calc.evidence import Meter, Rating
    >>> unit = Rating((35.0,), 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)
    >>> visit = Evidence(unit, Meter(2.0, 5, 0.1), Meter(0.5, 2, 0.01), 20.0, 5.0, ())
    >>> state, found = charging(visit, ApartEvidence(battery=BatteryReadings(at_rest_v=11.9)))
    >>> state, found[0].code
    ('bad', 'battery_limits')
    """
    battery = given.battery
    volts = (battery.at_rest_v, battery.charging_v, battery.all_stages_on_v, battery.after_10_s_v)
    if all(reading is None for reading in volts):
        return "not_checked", ()
    scale = evidence.rating.system_voltage_v / _SYSTEM_V
    found = (
        *_at_rest(battery, given.limits, scale),
        *_while_charging(battery, given.limits, scale),
        *_under_load(evidence, battery, scale),
        *_cables(evidence, battery, given.limits, scale),
    )
    if any(finding.severity == "defect" for finding in found):
        return "bad", found
    complete = all(reading is not None for reading in volts)
    return ("good" if complete and not found else "not_checked"), found


def _at_rest(battery: BatteryReadings, limits: Limits, scale: float) -> Iterator[Finding]:
    low_v = AT_REST_LOW_V * scale if limits.battery_at_rest_low_v is None else limits.battery_at_rest_low_v
    if battery.at_rest_v is not None and battery.at_rest_v < low_v:
        yield Finding("battery_limits", "defect", None, {"battery_voltage_v": battery.at_rest_v, "limit_v": low_v})


def _while_charging(battery: BatteryReadings, limits: Limits, scale: float) -> Iterator[Finding]:
    charging_v = battery.charging_v
    low_v = CHARGING_LOW_V * scale if limits.charging_low_v is None else limits.charging_low_v
    high_v = CHARGING_HIGH_V * scale if limits.charging_high_v is None else limits.charging_high_v
    if charging_v is not None and charging_v < low_v:
        yield Finding("charging_voltage_low", "defect", None, {"battery_voltage_v": charging_v, "limit_v": low_v})
    if charging_v is not None and charging_v > high_v:
        yield Finding("charging_voltage_high", "defect", None, {"battery_voltage_v": charging_v, "limit_v": high_v})


def _under_load(evidence: Evidence, battery: BatteryReadings, scale: float) -> Iterator[Finding]:
    loaded_v, later_v = battery.all_stages_on_v, battery.after_10_s_v
    if loaded_v is None:
        return
    rest_v = battery.at_rest_v or BATTERY_CARRIES_BELOW_V * scale
    lowest_v = loaded_v if later_v is None else min(loaded_v, later_v)
    carried = lowest_v >= min(rest_v, BATTERY_CARRIES_BELOW_V * scale)
    if not carried and evidence.engine_state != "off":
        yield _alternator(evidence, battery, lowest_v)
    if later_v is not None and loaded_v - later_v > FALL_IN_10_S_V * scale:
        fallen = {"battery_voltage_v": later_v, "fall_v": loaded_v - later_v}
        yield Finding("battery_falls_under_load", "defect", None, fallen)


def _alternator(evidence: Evidence, battery: BatteryReadings, battery_voltage_v: float) -> Finding:
    load_a, rated_a = _full_load(evidence)[0], battery.alternator_rated_a
    params: dict[str, float | str] = {"battery_voltage_v": battery_voltage_v, "rated_a": rated_a or 0.0}
    # Without a reading of the full load, nobody knows the load of a type that is not identified.
    params["load_a"] = UNKNOWN_LOAD if load_a is None else load_a
    if load_a is not None and rated_a is not None and load_a > rated_a:
        return Finding("alternator_too_small", "defect", None, params)
    at_high_idle = evidence.engine_state == "high_idle"
    code = "alternator_limits" if at_high_idle else "alternator_limits_at_idle"
    return Finding(code, "defect" if at_high_idle else "caution", None, params)


def _cables(evidence: Evidence, battery: BatteryReadings, limits: Limits, scale: float) -> Iterator[Finding]:
    load_a, box_v = _full_load(evidence)
    if battery.all_stages_on_v is None or load_a is None or box_v is None:
        return
    drop_v = battery.all_stages_on_v - box_v
    limit_v = CABLE_DROP_V_PER_A * scale * load_a if limits.cable_drop_v is None else limits.cable_drop_v
    if drop_v > limit_v:
        yield Finding("cable_limits", "defect", None, {"drop_v": drop_v, "limit_v": limit_v, "load_a": load_a})


def _full_load(evidence: Evidence) -> tuple[float | None, float | None]:
    """Return amps and box volts with all stages on; without such a reading the rated amps, if any, and no volts."""
    full = [r for r in evidence.stage_readings if len(set(r.energised)) == evidence.rating.stages]
    if not full:
        return (sum(evidence.rating.rated_currents_a) if evidence.rating.identified else None), None
    weakest = min(full, key=lambda reading: reading.supply_voltage_v)
    return weakest.current_a, weakest.supply_voltage_v
