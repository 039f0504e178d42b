"""The budget against two independent propagators, GTC and uncertainties, on random inputs with the same model."""

from math import isinf

import GTC
import numpy as np
import pytest
import uncertainties
from GTC.reporting import k_factor

from calc.copper import COPPER_TEMPERATURE_COEFFICIENT_PER_K
from calc.evidence import Evidence, Meter, Rating, RestReading, StageReading
from calc.judge import judge, judge_batch
from calc.judgement import StageJudgement
from tests.calc.builders import evidence, read_alone

ALPHA = COPPER_TEMPERATURE_COEFFICIENT_PER_K
SQRT_3 = 3**0.5
STEP_HALF_WIDTH = 0.003


def random_evidence(rng: np.random.Generator, *, step: bool) -> Evidence:
    rated_a, reference_v = float(rng.uniform(10, 60)), float(rng.uniform(11, 28))
    unit = Rating((rated_a,) * 4, reference_v, float(rng.uniform(15, 40)), 10.0, 10.0, 24.0, 4, 1)
    volts = reference_v * rng.uniform(0.85, 1.2, 2)
    amps = rated_a * volts * rng.uniform(0.8, 1.1, 2) / reference_v
    alone = read_alone(1, float(amps[0]), float(volts[0]))
    both = StageReading(2, (1, 2), float(volts[1]), float(amps[0] + amps[1]))
    clamp = Meter(float(rng.uniform(0.5, 4)), float(rng.integers(1, 9)), 0.1)
    voltmeter = Meter(float(rng.uniform(0.1, 1)), float(rng.integers(1, 9)), 0.01)
    return evidence(
        (alone, both) if step else (alone,),
        rating=unit,
        ammeter=clamp,
        voltmeter=voltmeter,
        coil_temperature_c=float(rng.uniform(-30, 180)),
        coil_temperature_bound_c=float(rng.uniform(0, 30)),
        rest=RestReading(40.0, float(rng.choice([0.0, 0.1, -0.1]))),
    )


def inputs_of(given: Evidence, *, step: bool) -> dict[str, tuple[float, float]]:
    """Return every input as (estimate, standard uncertainty), errors of a meter as quantities about zero."""
    readings, clamp, voltmeter = given.stage_readings, given.ammeter, given.voltmeter
    amps_counts = clamp.accuracy_counts * clamp.resolution
    volts_counts = voltmeter.accuracy_counts * voltmeter.resolution
    assert given.rest is not None
    assert given.coil_temperature_bound_c is not None
    common = {
        "coil": (given.coil_temperature_c or 0.0, given.coil_temperature_bound_c / SQRT_3),
        "alpha": (ALPHA, 0.01 * ALPHA / SQRT_3),
        "rest": (given.rest.current_a, clamp.resolution / 12**0.5 if given.rest.current_a else 0.0),
    }
    if not step:
        half_a = readings[0].current_a * clamp.accuracy_percent / 100 + amps_counts
        half_v = readings[0].supply_voltage_v * voltmeter.accuracy_percent / 100 + volts_counts
        return common | {"amps": (0.0, half_a / SQRT_3), "volts": (0.0, half_v / SQRT_3)}
    return common | {
        "amps_gain": (0.0, clamp.accuracy_percent / 100 / SQRT_3),
        "volts_gain": (0.0, voltmeter.accuracy_percent / 100 / SQRT_3),
        "amps_1": (0.0, amps_counts / SQRT_3),
        "amps_2": (0.0, amps_counts / SQRT_3),
        "volts_1": (0.0, volts_counts / SQRT_3),
        "volts_2": (0.0, volts_counts / SQRT_3),
        "step_1": (1.0, STEP_HALF_WIDTH / SQRT_3),
        "step_2": (1.0, STEP_HALF_WIDTH / SQRT_3),
    }


def modelled(given: Evidence, x: dict, *, step: bool):  # type: ignore[no-untyped-def,type-arg]
    """Return the normalised current from inputs of any kind of uncertain number."""
    first, last = given.stage_readings[0], given.stage_readings[-1]
    reference_k = given.rating.reference_temperature_c - 20
    ratio = (1 + x["alpha"] * (x["coil"] - 20)) / (1 + x["alpha"] * reference_k)
    scale = (given.rating.reference_voltage_v or 0.0) * ratio
    if not step:
        return scale * (first.current_a + x["amps"] - x["rest"]) / (first.supply_voltage_v + x["volts"])
    one, both = (
        x[f"step_{k}"]
        * (r.current_a * (1 + x["amps_gain"]) + x[f"amps_{k}"] - x["rest"])
        / (r.supply_voltage_v * (1 + x["volts_gain"]) + x[f"volts_{k}"])
        for k, r in ((1, first), (2, last))
    )
    return scale * (both - one)


def judged_pairs(*, step: bool) -> list[tuple[Evidence, StageJudgement]]:
    rng = np.random.default_rng(20260503 + step)
    given = [random_evidence(rng, step=step) for _ in range(200)]
    return [(one, judgement.stages[-1]) for one, judgement in zip(given, judge_batch(given), strict=True)]


@pytest.mark.parametrize("step", [False, True], ids=["alone", "step"])
def test_gtc_agrees(step: bool) -> None:
    for given, judged in judged_pairs(step=step):
        x = {name: GTC.ureal(*pair) for name, pair in inputs_of(given, step=step).items()}
        independent = modelled(given, x, step=step)
        assert judged.normalised_current_a == pytest.approx(GTC.value(independent), rel=1e-9)
        assert judged.expanded_uncertainty_a == pytest.approx(2 * GTC.uncertainty(independent), rel=1e-9)


@pytest.mark.parametrize("step", [False, True], ids=["alone", "step"])
def test_uncertainties_agrees(step: bool) -> None:
    for given, judged in judged_pairs(step=step):
        x = {name: uncertainties.ufloat(*pair) for name, pair in inputs_of(given, step=step).items() if pair[1] > 0}
        exact = {name: pair[0] for name, pair in inputs_of(given, step=step).items() if pair[1] == 0}
        independent = modelled(given, x | exact, step=step)
        assert judged.normalised_current_a == pytest.approx(independent.nominal_value, rel=1e-9)
        assert judged.expanded_uncertainty_a == pytest.approx(2 * independent.std_dev, rel=1e-9)


@pytest.mark.parametrize("step", [False, True], ids=["alone", "step"])
def test_gtc_agrees_with_each_source_of_the_budget(step: bool) -> None:
    sources = {
        "ammeter": ("amps", "amps_gain", "amps_1", "amps_2"),
        "voltmeter": ("volts", "volts_gain", "volts_1", "volts_2"),
        "coil_temperature": ("coil",),
        "temperature_coefficient": ("alpha",),
        "rest_current": ("rest",),
        "step_repeatability": ("step_1", "step_2"),
    }
    for given, judged in judged_pairs(step=step)[:20]:
        x = {name: GTC.ureal(*pair) for name, pair in inputs_of(given, step=step).items()}
        independent = modelled(given, x, step=step)
        for line in judged.budget:
            parts = [GTC.rp.u_component(independent, x[name]) for name in sources[line.source] if name in x]
            assert line.u_a == pytest.approx(float(np.linalg.norm(parts)), rel=1e-9)


# Repeat readings at one voltage, so that the mean reading is the same in both models.
@pytest.mark.parametrize("currents_a", [(35.0, 36.0), (35.0, 35.4, 34.9), (36.0, 36.1, 36.2, 35.9, 36.0), (36.3, 36.3)])
def test_gtc_agrees_with_scatter_degrees_of_freedom_and_coverage_factor(currents_a: tuple[float, ...]) -> None:
    given = evidence(tuple(read_alone(1, current_a, 14.0) for current_a in currents_a))
    (judged,) = judge(given).stages
    mean_a = GTC.type_a.estimate(currents_a)
    half_a = GTC.value(mean_a) * 0.02 + 0.5
    amps = mean_a + GTC.ureal(0, half_a / SQRT_3)
    volts = GTC.ureal(14.0, (14.0 * 0.005 + 0.02) / SQRT_3)
    coil, alpha = GTC.ureal(20.0, 3 / SQRT_3), GTC.ureal(ALPHA, 0.01 * ALPHA / SQRT_3)
    independent = 14.0 * (1 + alpha * (coil - 20)) * amps / volts
    degrees = GTC.dof(independent)
    assert judged.normalised_current_a == pytest.approx(GTC.value(independent), rel=1e-12)
    k = 2.0 if isinf(degrees) else k_factor(degrees, p=95.4499736)
    # GTC takes a hundred thousand degrees of freedom as infinitely many; t differs from 2 by 1e-5 there.
    assert judged.coverage_factor == pytest.approx(k, rel=1e-5)
    assert judged.expanded_uncertainty_a == pytest.approx(k * GTC.uncertainty(independent), rel=1e-5)
