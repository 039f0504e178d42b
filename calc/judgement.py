"""What a judgement answers: codes and finite numbers; sentences are made at the doors."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from calc.evidence import DecisionRule
from calc.evidence_apart import Checked

Verdict = Literal["pass", "conditional_pass", "conditional_fail", "fail", "undetermined"]
Action = Literal[
    "good",
    "read_again_cold",
    "better_clamp",
    "better_voltmeter",
    "read_again",
    "find_the_fault",
    "read_the_rest",
    "ask_for_the_rating",
    "identify_the_type",
    "no_absolute_verdict",
    "check_the_meters",
]
Severity = Literal["note", "caution", "defect"]
Parameters = Mapping[str, float | str]


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One source of uncertainty: its standard uncertainty in the result, and its share of the variance."""

    source: str
    variance_share: float
    u_a: float


@dataclass(frozen=True, slots=True)
class VerdictReason:
    """One reason why a unit is not a plain pass."""

    code: str
    stage: int | None
    params: Parameters


@dataclass(frozen=True, slots=True)
class Finding:
    """Something to be said beside the amps; a defect fails the unit however good they are."""

    code: str
    severity: Severity
    stage: int | None
    params: Parameters


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One physical cause and its probability; causes the readings cannot tell apart share a group."""

    cause: str
    stage: int | None
    probability: float
    group: int
    remedy: str
    together_with: tuple["Partner", ...] = ()


@dataclass(frozen=True, slots=True)
class Partner:
    """A second cause that has to hold beside the first."""

    cause: str
    stage: int | None


@dataclass(frozen=True, slots=True)
class Expectation:
    """What a reading would show under one cause [V, A or Ω]; None for an open circuit on an ohm-meter."""

    cause: str
    stage: int | None
    value: float | None


@dataclass(frozen=True, slots=True)
class NextReading:
    """The reading that tells most for its work and risk, the state it needs, and why it is asked for (a code)."""

    kind: str
    stage: int | None
    coil: int | None
    energised: tuple[int, ...]
    state: Literal["running", "isolated"]
    why: str
    expected: tuple[Expectation, ...]


@dataclass(frozen=True, slots=True)
class InputBound:
    """One input, the half-width it is known to, and the one that would do, in its own unit."""

    source: str
    unit: str
    present: float
    needed: float


@dataclass(frozen=True, slots=True)
class Settlement:
    """What would settle a stage short of clear; amounts are None where no uncertainty could.

    `single_inputs` each suffice alone; `together` are the sources that would all have to improve; `capable_with` would
    make a pass possible at all; `more_readings` says whether repeating would do, or why not.
    """

    needed_u_a: float | None
    needed_guard_band_a: float | None
    single_inputs: tuple[InputBound, ...]
    together: tuple[str, ...]
    capable_with: tuple[InputBound, ...]
    more_readings: str
    readings_needed: int | None


@dataclass(frozen=True, slots=True)
class StageJudgement:
    """The verdict on one stage; every figure but the raw means is None where it is undetermined."""

    stage: int
    verdict: Verdict
    undetermined_reason: str | None
    supply_voltage_v: float
    current_a: float
    normalised_current_a: float | None
    expanded_uncertainty_a: float | None
    coverage_factor: float | None
    lower_limit_a: float | None
    upper_limit_a: float | None
    conformance_probability: float | None
    capability: float | None
    level_percent: float | None
    expanded_uncertainty_percent: float | None
    budget: tuple[BudgetLine, ...]
    guard_band_a: float | None = None
    simple_verdict: Verdict = "undetermined"
    action: Action = "check_the_meters"
    settle: Settlement | None = None


@dataclass(frozen=True, slots=True)
class TorqueShareRange:
    """Torque share between exponent 1 and exponent 2 of the current, as (lower, higher). [%]"""

    cold: tuple[float, float]
    at_150_c: tuple[float, float]


@dataclass(frozen=True, slots=True)
class CircuitLines:
    """What two lines say without a specification; None where too few steps were read or the line is curved.

    Expanded uncertainties are of k = 2. [V], [mΩ]
    """

    source_voltage_v: float | None
    upstream_resistance_mohm: float | None
    upstream_expanded_uncertainty_mohm: float | None
    upstream_curved: bool
    stage_resistance_mohm: float | None
    stage_expanded_uncertainty_mohm: float | None
    shared_ground_resistance_mohm: float | None
    shared_ground_expanded_uncertainty_mohm: float | None
    shared_ground_curved: bool


@dataclass(frozen=True, slots=True)
class Judgement:
    """The verdict on one visit under one decision rule and method version."""

    verdict: Verdict
    verdict_reasons: tuple[VerdictReason, ...]
    stages: tuple[StageJudgement, ...]
    imbalance_percent: float | None
    torque_share_percent: float | None
    torque_share_range_percent: TorqueShareRange | None
    findings: tuple[Finding, ...]
    hypotheses: tuple[Hypothesis, ...]
    next_reading: NextReading | None
    method_version: str
    decision_rule: DecisionRule
    imbalance_expanded_uncertainty_percent: float | None = None
    simple_verdict: Verdict = "undetermined"
    action: Action = "check_the_meters"
    apart: Mapping[str, Checked] = field(default_factory=dict)
    circuit_lines: CircuitLines | None = None
