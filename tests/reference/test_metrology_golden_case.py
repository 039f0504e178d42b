"""One case of the service's own model, worked by three independent tools (own construction, not published).

30.0 A read at 25.60 V, coil 65 ± 5 °C, clamp ±(2 % + 5 × 0.1 A), voltmeter ±(0.5 % + 2 × 0.01 V), α20 = 0.003 93 ± 1 %;
reference 24 V, 20 °C.  The budget takes α20 as an argument; the service itself uses 1/254.5.
"""

from dataclasses import replace

import numpy as np
import pytest

from calc.budget import SOURCES, Budget, budget_of
from calc.columns import columns_of
from calc.conformity import VERDICTS, classify, conformance_probability, largest_rectangle
from calc.copper import normalised_current_a, resistance_ratio
from calc.evidence import Evidence, Rating
from calc.increments import stage_rows
from calc.judge import judge
from calc.pooling import reading_conductances
from calc.rest import settle_rest
from tests.calc.builders import evidence, read_alone

ALPHA_PER_K = 0.00393


def golden_evidence(rated_a: float) -> Evidence:
    unit = Rating((rated_a,), 24.0, 20.0, 10.0, 10.0, 24.0, 4, 1)
    reading = read_alone(1, 30.0, 25.60)
    return evidence((reading,), rating=unit, coil_temperature_c=65.0, coil_temperature_bound_c=5.0, rest=None)


def golden_budget() -> Budget:
    columns = columns_of([golden_evidence(34.0)])
    conditions, readings = columns.conditions, columns.readings
    rest = settle_rest(conditions, readings)
    rows = stage_rows(readings, reading_conductances(conditions, readings, rest.subtracted_a))
    per_siemens_v = np.array([24.0 * resistance_ratio(65.0, temperature_coefficient_per_k=ALPHA_PER_K)])
    return budget_of(rows, conditions, rest, amps_per_siemens=per_siemens_v, temperature_coefficient_per_k=ALPHA_PER_K)


def golden_current_a(temperature_coefficient_per_k: float) -> float:
    return normalised_current_a(
        30.0,
        supply_voltage_v=25.60,
        coil_temperature_c=65.0,
        reference_voltage_v=24.0,
        temperature_coefficient_per_k=temperature_coefficient_per_k,
    )


def test_the_normalised_current_of_both_forms() -> None:
    assert golden_current_a(ALPHA_PER_K) == pytest.approx(33.09890625, abs=1e-9)
    assert round(golden_current_a(1 / 254.5), 6) == 33.097986


@pytest.mark.parametrize(
    ("source", "u_a", "share"),
    [
        ("ammeter", 0.700688, 0.8104),
        ("coil_temperature", 0.319076, 0.1681),
        ("voltmeter", 0.110478, 0.0201),
        ("temperature_coefficient", 0.028717, 0.0014),
    ],
)
def test_each_contribution(source: str, u_a: float, share: float) -> None:
    budget = golden_budget()
    contribution = float(budget.u_by_source_a[SOURCES.index(source), 0])
    assert round(contribution, 6) == u_a
    assert round((contribution / float(budget.u_combined_a[0])) ** 2, 4) == share


def test_the_combined_and_expanded_uncertainty() -> None:
    budget = golden_budget()
    assert float(budget.u_combined_a[0]) == pytest.approx(0.7783333323, abs=1e-9)
    assert round(float(budget.expanded_uncertainty_a[0]), 6) == 1.556667
    assert float(budget.coverage_factor[0]) == 2.0


@pytest.mark.parametrize(
    ("rated_a", "normal", "monte_carlo", "verdict"),
    [(34.0, 0.999338, 1.000, "pass"), (36.0, 0.815395, 0.785, "conditional_pass")],
)
def test_both_columns_of_the_verdict(rated_a: float, normal: float, monte_carlo: float, verdict: str) -> None:
    budget = golden_budget()
    value, lower, upper = (np.array([x]) for x in (golden_current_a(ALPHA_PER_K), 0.9 * rated_a, 1.1 * rated_a))
    no_rectangle = np.zeros(1)
    assert conformance_probability(value, budget.u_combined_a, no_rectangle, lower, upper) == pytest.approx(
        normal, abs=1e-6
    )
    half_width, u_rest = largest_rectangle(budget.rectangles_a, budget.u_combined_a)
    assert conformance_probability(value, u_rest, half_width, lower, upper) == pytest.approx(monte_carlo, abs=0.002)
    verdict_code = classify(value, lower, upper, budget.expanded_uncertainty_a, np.zeros(1))
    assert VERDICTS[int(verdict_code[0])] == verdict


@pytest.mark.parametrize(("rated_a", "verdict"), [(34.0, "pass"), (36.0, "conditional_pass")])
def test_the_service_reaches_the_same_verdicts_with_its_own_coefficient(rated_a: float, verdict: str) -> None:
    (judged,) = judge(golden_evidence(rated_a)).stages
    assert judged.verdict == verdict
    assert judged.normalised_current_a == pytest.approx(33.097986, abs=5e-7)


# Scatter s = 0.4 A of the readings added: averaging has a floor, 0.7783 A, since the meter's error is common.
@pytest.mark.parametrize(("number", "u_a"), [(3, 0.8190), (5, 0.8030), (10, 0.7907)])
def test_averaging_cannot_go_below_the_meter(number: int, u_a: float) -> None:
    spread = np.linspace(-1, 1, number)
    currents_a = 30.0 + 0.4 * spread / spread.std(ddof=1)
    repeats = tuple(read_alone(1, float(current_a), 25.60) for current_a in currents_a)
    (judged,) = judge(replace(golden_evidence(34.0), stage_readings=repeats)).stages
    assert (judged.expanded_uncertainty_a or 0) / (judged.coverage_factor or 1) == pytest.approx(u_a, abs=1e-4)


def test_the_power_of_a_resistor_propagates_as_in_the_guides_closest_model() -> None:
    # B1, GUM 4.1.1 and 5.1.3 Ex. (P formulas, own numbers): P = V²/{R0[1 + α(t − t0)]}.
    growth = resistance_ratio(80.0, temperature_coefficient_per_k=ALPHA_PER_K)
    power_w = 24.0**2 / 10.0 / growth
    assert power_w == pytest.approx(46.609484, rel=1e-7)
    contributions = (
        2 * power_w / 24 * 0.1,
        power_w / 10 * 0.05,
        power_w * 60 / growth * 4e-5,
        power_w * ALPHA_PER_K / growth * 2,
    )
    assert sum(part**2 for part in contributions) ** 0.5 == pytest.approx(0.548863, rel=1e-5)
