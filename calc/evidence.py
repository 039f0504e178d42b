"""What goes into a judgement: one visit's readings, the rating they are held against, and how both were obtained.

Plain numbers only.  Quantities carry their unit in the name; a meter's own figures are in its unit (A or V).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isnan, nan
from typing import Literal

from calc.circumstances import TemperatureInputs
from calc.evidence_apart import ApartEvidence, AuxiliaryLoad

DecisionRule = Literal["guarded", "simple", "max_false_accept"]
TemperatureMethod = Literal["measured", "parked", "cold_resistance", "cooling_model", "unknown"]
EngineState = Literal["off", "idle", "high_idle"]
Drive = Literal["relay", "contactor", "electronic"]
Fuses = Literal["per_stage", "common", "none", "other"]
ControlInput = Literal["positive_switched", "ground_switched", "data_bus", "unknown"]
ReturnPath = Literal["frame", "insulated", "unknown"]


@dataclass(frozen=True, slots=True)
class Rating:
    """The amps a unit is rated to draw, stage by stage, and the conditions they hold at.

    Where the type is not identified nobody knows the amps: they are NaN, one a stage.
    """

    rated_currents_a: tuple[float, ...]
    reference_voltage_v: float | None
    reference_temperature_c: float
    tolerance_lower_percent: float | None
    tolerance_upper_percent: float | None
    system_voltage_v: float
    coils_in_series: int
    coils_in_parallel: int
    tolerance_assumed: bool = False
    reference_temperature_assumed: bool = False

    @property
    def stages(self) -> int:
        """Return the number of stages."""
        return len(self.rated_currents_a)

    @property
    def identified(self) -> bool:
        """Return whether the type is known, and with it its rated amps."""
        return not isnan(self.rated_currents_a[0])


def rating_not_identified(stages: int, system_voltage_v: float) -> Rating:
    """Return what stands in for the rating of a unit whose type is not known: how many stages it has, and no figure.

    Its conductances stand at 20 °C.  Of its wiring nothing is known; one coil a stage stands in and bears on nothing.

    Examples
    --------
    >>> rating_not_identified(4, 24.0).identified
    False
    """
    return Rating((nan,) * stages, None, 20.0, None, None, system_voltage_v, 1, 1)


@dataclass(frozen=True, slots=True)
class OwnConductance:
    """What one stage of a unit conducted at one check, at 20 °C.  [S]

    `u_conductance_s` holds everything, `u_alone_s` only what the other stages of the check do not share.
    """

    stage: int
    conductance_s: float
    u_conductance_s: float
    u_alone_s: float


@dataclass(frozen=True, slots=True)
class MeterRange:
    """One range of a meter: up to where it reads, and its accuracy and resolution there."""

    range_max: float
    accuracy_percent: float
    accuracy_counts: float
    resolution: float


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter's accuracy: ±(percent of reading + counts), its resolution and, where known, its range.

    Where `ranges` are given, ascending, each reading takes the figures of the smallest range that holds it.
    """

    accuracy_percent: float
    accuracy_counts: float
    resolution: float
    range_max: float | None = None
    ranges: tuple[MeterRange, ...] = ()


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
    auxiliary_loads: tuple[AuxiliaryLoad, ...] = ()
    fuses: Fuses | None = None
    control_input: ControlInput | None = None


@dataclass(frozen=True, slots=True)
class ExtraReading:
    """A reading beyond volts and amps per stage [V, A or Ω]; an open circuit on an ohm-meter has no value."""

    kind: str
    value: float | None
    stage: int | None = None
    coil: int | None = None
    energised: tuple[int, ...] | None = None
    over_range: bool = False


@dataclass(frozen=True, slots=True)
class Cable:
    """The size printed on a cable, and its length."""

    size: str | None
    length_m: float | None


@dataclass(frozen=True, slots=True)
class Cables:
    """The cables of the circuit, as far as they are known."""

    supply: Cable | None = None
    stage: Cable | None = None
    retarder_ground: Cable | None = None
    chassis_ground: Cable | None = None


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
    temperature_inputs: TemperatureInputs | None = None
    usual_temperature_bounds_c: Mapping[str, float] | None = None
    apart: ApartEvidence | None = None
    extra_readings: tuple[ExtraReading, ...] = ()
    cables: Cables = Cables()
    return_path: ReturnPath | None = None
    # Meters without a valid calibration on the day and what is wrong with it, and whether that forbids a verdict.
    calibration_faults: tuple[tuple[str, str], ...] = ()
    calibration_required: bool = False
    # What this unit conducted at earlier checks; looked at only where its type is not identified.
    own_history: tuple[OwnConductance, ...] = ()
    # Whether that is withheld, for it was read with the meter whose error was taken out of these readings.
    own_history_left_out: bool = False
    # Stages that a retest is of: they may draw more than they ever did, for their fault may be older than the history.
    stages_repaired: tuple[int, ...] = ()
