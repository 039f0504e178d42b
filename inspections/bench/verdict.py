"""How often a verdict errs: a unit at its limit that is accepted, and a healthy one that is not cleanly passed.

Everything is drawn here, from the meters' stated bounds; nothing is field data.
"""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from math import sqrt
from typing import Any

import numpy as np

from calc.arrays import Bools, Floats
from calc.columns import columns_of
from calc.conformity import PASS
from calc.copper import resistance_growth
from calc.evidence import DecisionRule, Evidence, Meter, Rating, StageReading
from calc.stages import judge_columns
from calc.unit import HEALTHY_SPREAD
from inspections.bench.judging_speed import bench_speed, speed_table

SEED = 20_260_503
SUPPLY_V, REFERENCE_V, COIL_C = 13.76, 12.0, 35.0
RATED_A = 35.0
STAGES = 4
TOLERANCE_PERCENT = 10.0
VOLTMETER = Meter(0.5, 2, 0.01)
CLAMPS = {
    "1 % + 2 counts": Meter(1.0, 2, 0.1),
    "2 % + 5 counts": Meter(2.0, 5, 0.1),
    "3 % + 5 counts": Meter(3.0, 5, 0.1),
}
TEMPERATURE_BOUNDS_C = (1.0, 3.0, 5.0, 10.0, 15.0, 30.0)
# Normal coverage beyond 2 u, on one side, and what three standard errors of the simulation add to it.
GUARDED_FALSE_ACCEPT = 0.02275
INSPECTIONS = {"small": 20_000, "full": 200_000}
UNITS = {"small": 400, "full": 5_000}

Draw = Callable[[np.random.Generator, Floats], Floats]


@dataclass(frozen=True, slots=True)
class FalseAccept:
    """Share of units accepted whose truth lies exactly on a limit, and the share that would be one too many."""

    errors: str
    limit: str
    rule: DecisionRule
    inspections: int
    accepted_share: float
    allowed_share: float


@dataclass(frozen=True, slots=True)
class NotPassed:
    """Share of healthy units that are not cleanly passed with one clamp and one temperature bound."""

    clamp: str
    temperature_bound_c: float
    share: float


@dataclass(frozen=True, slots=True)
class VerdictBench:
    """Both tables; `at_capability_1` is the false acceptance where both limits count."""

    false_accepts: tuple[FalseAccept, ...]
    not_passed: tuple[NotPassed, ...]
    at_capability_1: float
    healthy_spread: float


def bench_verdict(size: str) -> dict[str, Any]:
    """Return how often the guarded and the simple rule err, and what a verdict costs, as figures.

    Raises
    ------
    PeerMissing
        Names the library that is not installed.
    """
    return {**asdict(measured_verdicts(size)), "speed": bench_speed(size)}


def verdict_table(figures: dict[str, Any]) -> str:
    """Return the figures in lines: false acceptance, healthy units by clamp and temperature, then the cost."""
    lines = [
        f"  on the {row['limit']} limit, {row['errors']} errors, {row['rule']} rule: {row['accepted_share']:.2%} of "
        f"{row['inspections']} accepted, at most {row['allowed_share']:.2%}"
        for row in figures["false_accepts"]
    ]
    lines.append(f"  at capability 1 both limits count: {figures['at_capability_1']:.2%} may be accepted wrongly")
    lines.append(
        "  U is worked out at the reading: one that errs low on the upper limit has the smaller U, and normal errors "
        "are accepted a little more often there than 2.28%"
    )
    shares = {(row["clamp"], row["temperature_bound_c"]): row["share"] for row in figures["not_passed"]}
    bounds_c = sorted({bound_c for _, bound_c in shares})
    lines.append(
        f"  healthy units of {STAGES} stages, spread {figures['healthy_spread']:.0%}, not cleanly passed, by clamp"
    )
    lines.append("  " + "".join(f"{f'± {bound_c:g} °C':>10}" for bound_c in bounds_c))
    for clamp in dict.fromkeys(clamp for clamp, _ in shares):
        lines.append("  " + "".join(f"{shares[clamp, bound_c]:>10.0%}" for bound_c in bounds_c) + f"  {clamp}")
    return "\n".join([*lines, speed_table(figures["speed"])])


def measured_verdicts(size: str) -> VerdictBench:
    """Return both tables of one size."""
    generator = np.random.default_rng(SEED)
    accepts = tuple(
        false_accept(generator, errors, limit, rule, INSPECTIONS[size])
        for errors in ERRORS
        for limit in ("lower", "upper")
        for rule in ("guarded", "simple")
    )
    cells = ((clamp, bound_c) for clamp in CLAMPS for bound_c in TEMPERATURE_BOUNDS_C)
    not_passed = tuple(share_not_passed(generator, clamp, bound_c, UNITS[size]) for clamp, bound_c in cells)
    # Where the acceptance zone is one point, either limit is 2 u away: twice the one-sided share.
    return VerdictBench(accepts, not_passed, 2 * GUARDED_FALSE_ACCEPT, HEALTHY_SPREAD)


def false_accept(
    generator: np.random.Generator, errors: str, limit: str, rule: DecisionRule, inspections: int
) -> FalseAccept:
    """Return how many of so many inspections of a stage on its limit pass."""
    level = 1 - TOLERANCE_PERCENT / 100 if limit == "lower" else 1 + TOLERANCE_PERCENT / 100
    levels = np.full((inspections, 1), level)
    passed = _passed(generator, levels, CLAMPS["2 % + 5 counts"], 5.0, rule, ERRORS[errors])
    expected = GUARDED_FALSE_ACCEPT if rule == "guarded" else 0.5
    allowed = expected + 3 * sqrt(expected * (1 - expected) / inspections)
    return FalseAccept(errors, limit, rule, inspections, float(passed.mean()), allowed)


def share_not_passed(generator: np.random.Generator, clamp: str, bound_c: float, units: int) -> NotPassed:
    """Return the share of healthy units with a stage short of a clean pass under the guarded rule."""
    levels = generator.normal(1.0, HEALTHY_SPREAD, (units, STAGES))
    passed = _passed(generator, levels, CLAMPS[clamp], bound_c, "guarded", _rectangular)
    return NotPassed(clamp, bound_c, float(1 - passed.all(axis=1).mean()))


def _passed(
    generator: np.random.Generator, levels: Floats, clamp: Meter, bound_c: float, rule: DecisionRule, draw: Draw
) -> Bools:
    """Return, for each unit and stage of these true levels, whether what the meters show of it passes."""
    units, stages = levels.shape
    # One clamp, one voltmeter and one coil temperature a unit: their errors are common to its stages.
    per_unit = np.ones((units, 1))
    coil_c = COIL_C + draw(generator, bound_c * per_unit)
    true_a = levels * RATED_A * SUPPLY_V / REFERENCE_V * resistance_growth(20.0) / resistance_growth(coil_c)
    share_a = draw(generator, per_unit)
    shown_a = true_a + share_a * (true_a * clamp.accuracy_percent / 100 + clamp.accuracy_counts * clamp.resolution)
    half_width_v = SUPPLY_V * VOLTMETER.accuracy_percent / 100 + VOLTMETER.accuracy_counts * VOLTMETER.resolution
    shown_v = SUPPLY_V + draw(generator, half_width_v * per_unit)
    rating = Rating((RATED_A,) * stages, REFERENCE_V, 20.0, TOLERANCE_PERCENT, TOLERANCE_PERCENT, 12.0, 2, 2)
    evidences = [
        Evidence(rating, clamp, VOLTMETER, COIL_C, bound_c, _readings(amps, volts), decision_rule=rule)
        for amps, (volts,) in zip(shown_a.tolist(), shown_v.tolist(), strict=True)
    ]
    passed: Bools = judge_columns(columns_of(evidences)).verdict == PASS
    return passed.reshape(units, stages)


def _readings(amps: list[float], volts: float) -> tuple[StageReading, ...]:
    return tuple(StageReading(stage, (stage,), volts, current_a) for stage, current_a in enumerate(amps, start=1))


def _rectangular(generator: np.random.Generator, half_width: Floats) -> Floats:
    return generator.uniform(-1.0, 1.0, half_width.shape) * half_width


def _normal(generator: np.random.Generator, half_width: Floats) -> Floats:
    return generator.standard_normal(half_width.shape) * half_width / sqrt(3.0)


ERRORS: dict[str, Draw] = {"rectangular": _rectangular, "normal": _normal}
