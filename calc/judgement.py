"""What a judgement answers: codes and finite numbers; sentences are made at the doors."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from calc.evidence import DecisionRule

Verdict = Literal["pass", "conditional_pass", "conditional_fail", "fail", "undetermined"]
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


@dataclass(frozen=True, slots=True)
class TorqueShareRange:
    """Torque share between exponent 1 and exponent 2 of the current, as (lower, higher). [%]"""

    cold: tuple[float, float]
    at_150_c: tuple[float, float]


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
    next_reading: None
    method_version: str
    decision_rule: DecisionRule
