"""What would settle a verdict short of clear: the uncertainty needed, and which input could reach it, to what bound."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf, isinf, sqrt
from operator import itemgetter
from typing import Literal, NamedTuple

from scipy.special import ndtri, stdtrit

from calc.evidence import DecisionRule, Evidence
from calc.judgement import InputBound, Settlement
from calc.meters import half_width_at
from calc.temperature import coil_temperature
from calc.uncertainty import COVERAGE_PROBABILITY, NORMAL_COVERAGE_FACTOR, SQRT_3

InputSource = Literal["coil_temperature", "ammeter", "voltmeter"]
# UCUM, Cel for degrees Celsius.
UNITS: dict[InputSource, str] = {"coil_temperature": "Cel", "ammeter": "A", "voltmeter": "V"}
MOST_READINGS = 1000
_HALVINGS = 60
# Less than a hundredth of its present bound is no bound that an input could have.
_LEAST_FACTOR = 1e-2


class Scatter(NamedTuple):
    """One mean of repeats: its standard uncertainty, and how many readings it is of. [A], [-]"""

    u_a: float
    readings: float


@dataclass(frozen=True, slots=True)
class StageBudget:
    """What a stage's uncertainty is made of, and the bounds of the inputs that could be improved.

    `u_by_source_a` leaves the scatter of repeats out; it stands in `scatter`. [A]
    """

    u_by_source_a: dict[str, float]
    scatter: tuple[Scatter, ...]
    bounds: dict[InputSource, float]
    rule: DecisionRule = "guarded"
    max_false_accept_probability: float | None = None


def stage_budget(
    evidence: Evidence,
    u_by_source_a: dict[str, float],
    current_a: float,
    supply_voltage_v: float,
    scatter: tuple[Scatter, ...] = (),
) -> StageBudget:
    """Return a stage's budget with the bounds that its inputs have at its readings."""
    return StageBudget(
        u_by_source_a={source: u for source, u in u_by_source_a.items() if source != "repeatability"},
        scatter=scatter,
        bounds={
            "coil_temperature": coil_temperature(evidence).bound_c,
            "ammeter": half_width_at(evidence.ammeter, current_a),
            "voltmeter": half_width_at(evidence.voltmeter, supply_voltage_v),
        },
        rule=evidence.decision_rule,
        max_false_accept_probability=evidence.max_false_accept_probability,
    )


def settlement(budget: StageBudget, *, margin_a: float, tolerance_width_a: float, capable: bool) -> Settlement:
    """Return what would settle a stage that is `margin_a` inside (or, negative, outside) the nearer limit.

    Parameters
    ----------
    budget : StageBudget
        Present contributions, the inputs' present bounds, and the rule.
    margin_a : float
        Distance to the nearer limit. [A]
    tolerance_width_a : float
        Distance between the limits; infinite with one limit. [A]
    capable : bool
        Whether a pass is possible at all with the present uncertainty.

    Returns
    -------
    Settlement
        A bound of an input is its present one scaled as far as its contribution has to fall.

    Notes
    -----
    Clear is where the guard band is no wider than the margin.  All bounds are worked out at the value as measured.

    References
    ----------
    ILAC-G8:09/2019 4.2.3; JCGM 106:2012 8.3.2; GUM (JCGM 100:2008) G.4.1.

    Examples
    --------
    >>> meters = StageBudget({"ammeter": 0.6, "coil_temperature": 0.2}, (), {"ammeter": 1.1, "coil_temperature": 3.0})
    >>> needed = settlement(meters, margin_a=-0.8, tolerance_width_a=7.0, capable=True)
    >>> [(single.source, round(single.needed, 3)) for single in needed.single_inputs]
    [('ammeter', 0.635)]
    """
    needed_guard_a = abs(margin_a)
    more_readings, number = _more_readings(budget, needed_guard_a)
    return Settlement(
        needed_u_a=needed_guard_a / _factor(budget, isolated_nu=_nu(budget, 1.0, None)),
        needed_guard_band_a=needed_guard_a,
        single_inputs=tuple(one for one in reaching(budget, needed_guard_a) if one.needed < one.present),
        together=_together(budget, needed_guard_a),
        capable_with=() if capable else reaching(budget, tolerance_width_a / 2),
        more_readings=more_readings,
        readings_needed=number,
    )


def reaching(budget: StageBudget, guard_a: float) -> tuple[InputBound, ...]:
    """Return the inputs that alone could bring the guard band down (or let it rise) to `guard_a`, and their bounds.

    Examples
    --------
    >>> clamp = StageBudget({"ammeter": 0.6}, (), {"ammeter": 1.0})
    >>> round(reaching(clamp, 1.8)[0].needed, 3)
    1.5
    """
    found = []
    for source, bound in budget.bounds.items():
        factor = _reaching_factor(budget, source, guard_a)
        if factor is not None and bound > 0:
            found.append(InputBound(source, UNITS[source], bound, bound * factor))
    return tuple(sorted(found, key=lambda one: -one.needed / one.present))


def _reaching_factor(budget: StageBudget, source: str, guard_a: float) -> float | None:
    """Return by what factor one contribution must change for the guard band to be `guard_a`."""
    own_u = budget.u_by_source_a.get(source, 0.0)
    if own_u <= 0 or not guard_a > 0:
        return None
    if not budget.scatter:
        rest = _variance(budget, source, 0.0)
        left = (guard_a / _factor(budget, isolated_nu=inf)) ** 2 - rest
        return sqrt(left) / own_u if left > (_LEAST_FACTOR * own_u) ** 2 else None
    if _guard(budget, source, _LEAST_FACTOR) > guard_a:
        return None
    return _halved(lambda factor: _guard(budget, source, factor) - guard_a)


def _halved(excess: Callable[[float], float]) -> float:
    low, high = 0.0, 1.0
    while excess(high) < 0 and high < 1e6:
        high *= 2
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if excess(middle) > 0 else (middle, high)
    return low


def _guard(budget: StageBudget, source: str | None, factor: float, repeats: float = 1.0) -> float:
    """Return the guard band with one contribution scaled, and `repeats` times as many readings."""
    if not budget.scatter:
        return _factor(budget, isolated_nu=inf) * sqrt(_variance(budget, source, factor))
    scatter = sum(one.u_a**2 for one in budget.scatter) / repeats
    u = sqrt(_variance(budget, source, factor) + scatter)
    return _factor(budget, isolated_nu=_nu(budget, factor, source, repeats)) * u


def _variance(budget: StageBudget, source: str | None, factor: float) -> float:
    # A list and not a generator: a verdict short of clear asks for this some twenty times.
    return sum([(u * factor if name == source else u) ** 2 for name, u in budget.u_by_source_a.items()])


def _nu(budget: StageBudget, factor: float, source: str | None, repeats: float = 1.0) -> float:
    spread = sum(one.u_a**4 / repeats**2 / max(one.readings * repeats - 1, 1) for one in budget.scatter)
    if spread == 0:
        return inf
    variance = _variance(budget, source, factor) + sum(one.u_a**2 for one in budget.scatter) / repeats
    return variance**2 / spread


def _factor(budget: StageBudget, *, isolated_nu: float) -> float:
    """Return guard band over standard uncertainty; for a largest false acceptance, enough for a rectangle too."""
    if budget.rule == "max_false_accept" and budget.max_false_accept_probability is not None:
        p = budget.max_false_accept_probability
        return max(float(-ndtri(p)), SQRT_3 * (1 - 2 * p))
    if isinf(isolated_nu):
        return NORMAL_COVERAGE_FACTOR
    return float(stdtrit(isolated_nu, (1 + COVERAGE_PROBABILITY) / 2))


def _together(budget: StageBudget, guard_a: float) -> tuple[str, ...]:
    """Return the largest sources whose removal would leave no more than is allowed, fewest first."""
    ranked = sorted(budget.u_by_source_a.items(), key=itemgetter(1), reverse=True)
    removed = 0
    while removed < len(ranked) and _guard(_without(budget, ranked[removed:]), None, 1.0) > guard_a:
        removed += 1
    return tuple(source for source, _ in ranked[:removed])


def _without(budget: StageBudget, left: Sequence[tuple[str, float]]) -> StageBudget:
    return StageBudget(dict(left), budget.scatter, budget.bounds, budget.rule, budget.max_false_accept_probability)


def _more_readings(budget: StageBudget, guard_a: float) -> tuple[str, int | None]:
    """Return whether more readings of the same kind would do, and how many; else why not."""
    if guard_a == 0:
        return "at_the_limit", None
    if not budget.scatter:
        return "no_scatter_to_average", None
    present = min(one.readings for one in budget.scatter)
    if _guard(budget, None, 1.0, MOST_READINGS / present) > guard_a:
        return "meters_and_temperature_stay", None
    few, many = int(present), MOST_READINGS
    while many - few > 1:
        middle = (few + many) // 2
        few, many = (few, middle) if _guard(budget, None, 1.0, middle / present) <= guard_a else (middle, many)
    return "would_do", many
