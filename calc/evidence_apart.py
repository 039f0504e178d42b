"""Evidence of what is judged apart from the amps: limits set by the user, battery, control check, mechanical survey."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Checked = Literal["good", "bad", "not_checked"]
LoadTime = Literal["always", "stage_on"]

CONTROL_ITEMS = (
    "drivers_lever",
    "foot_or_pressure_switch",
    "off_throttle",
    "cut_out",
    "drops_out_at_low_speed",
    "drops_out_under_abs",
    "no_stage_at_standstill",
    "stop_lamps",
)
MECHANICAL_ITEMS = ("air_gap", "rotor", "bearings", "mounts", "ground_straps", "corrosion", "ingress", "cables")


@dataclass(frozen=True, slots=True)
class AuxiliaryLoad:
    """What else the supply cable feeds: always, or while any stage is on; without a bound, known to a fifth."""

    name: str
    current_a: float
    bound_a: float | None = None
    when: LoadTime = "always"


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits that the user sets; what has none is answered as a figure and fails nobody."""

    supply_voltage_low_v: float | None = None
    supply_voltage_high_v: float | None = None
    upstream_resistance_mohm: float | None = None
    shared_ground_resistance_mohm: float | None = None
    battery_at_rest_low_v: float | None = None
    charging_low_v: float | None = None
    charging_high_v: float | None = None
    cable_drop_v: float | None = None


@dataclass(frozen=True, slots=True)
class BatteryReadings:
    """Volts across the battery posts: at rest, charging, with all stages on, and those ten seconds later."""

    at_rest_v: float | None = None
    charging_v: float | None = None
    all_stages_on_v: float | None = None
    after_10_s_v: float | None = None
    alternator_rated_a: float | None = None


@dataclass(frozen=True, slots=True)
class SurveyItem:
    """One item of a survey: judged by its numbers where the type states limits, else as it was found."""

    code: str
    status: Checked = "not_checked"
    values: tuple[float, ...] = ()
    lower_limit: float | None = None
    upper_limit: float | None = None


@dataclass(frozen=True, slots=True)
class ApartEvidence:
    """What is judged apart from the amps; the two lists of items are the organisation's to edit."""

    limits: Limits = Limits()
    battery: BatteryReadings = BatteryReadings()
    control_check: Mapping[str, Checked] | None = None
    mechanical_survey: tuple[SurveyItem, ...] = ()
    control_items: tuple[str, ...] = CONTROL_ITEMS
    mechanical_items: tuple[str, ...] = MECHANICAL_ITEMS
    # What the organisation itself calls an item, by its code; a finding carries it along.
    item_words: Mapping[str, str] | None = None
