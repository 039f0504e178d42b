"""What goes into a judgement: one visit's readings, the rating they are held against, and how both were obtained.

Plain numbers only.  Quantities carry their unit in the name; a meter's own figures are in its unit (A or V).
"""

from dataclasses import dataclass
from typing import Literal

DecisionRule = Literal["guarded", "simple", "max_false_accept"]
TemperatureMethod = Literal["measured", "parked", "cold_resistance", "cooling_model", "unknown"]
EngineState = Literal["off", "idle", "high_idle"]
Drive = Literal["relay", "contactor", "electronic"]


@dataclass(frozen=True, slots=True)
class Rating:
    """The amps a unit is rated to draw, stage by stage, and the conditions they hold at."""

    rated_currents_a: tuple[float, ...]
    reference_voltage_v: float | None
    reference_temperature_c: float
    tolerance_lower_percent: float | None
    tolerance_upper_percent: float | None
    system_voltage_v: float
    coils_in_series: int
    coils_in_parallel: int
    tolerance_assumed: bool = False

    @property
    def stages(self) -> int:
        """Return the number of stages."""
        return len(self.rated_currents_a)


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter's accuracy: ±(percent of reading + counts), its resolution and, where known, its range."""

    accuracy_percent: float
    accuracy_counts: float
    resolution: float
    range_max: float | None = None


@dataclass(frozen=True, slots=True)
class RestReading:
    """Volts and amps with everything off; the amps may be negative."""

    supply_voltage_v: float
    current_a: float


@dataclass(frozen=True, slots=True)
class StageReading:
    """Volts and total amps read together with the control inputs `energised` commanded."""

    stage: int
    energised: tuple[int, ...]
    supply_voltage_v: float
    current_a: float
    seconds_on: float | None = None
    outputs_live: tuple[int, ...] | None = None
    lamps_lit: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True)
class RelayBox:
    """What of the relay box bears on the verdict: its drive, which outputs each input switches, and its lamps."""

    drive: Drive = "relay"
    outputs_by_input: tuple[tuple[int, ...], ...] | None = None
    lamps: int | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """Everything one judgement rests on."""

    rating: Rating
    ammeter: Meter
    voltmeter: Meter
    coil_temperature_c: float | None
    coil_temperature_bound_c: float | None
    stage_readings: tuple[StageReading, ...]
    coil_temperature_method: TemperatureMethod | None = None
    rest: RestReading | None = None
    engine_state: EngineState | None = None
    relay_box: RelayBox = RelayBox()
    stages_not_read: tuple[int, ...] = ()
    required_stages: tuple[int, ...] = ()
    decision_rule: DecisionRule = "guarded"
    max_false_accept_probability: float | None = None
