"""The closed form of the conformance probability against simulation of the whole model."""

import numpy as np
import pytest

from calc.copper import COPPER_TEMPERATURE_COEFFICIENT_PER_K
from calc.evidence import Meter
from calc.judge import judge
from tests.calc.builders import evidence, rating, read_alone

TRIALS = 200_000
CASES = [
    # amps, volts, coil °C, its bound, clamp percent
    (36.3, 14.0, 20.0, 3.0, 2.0),
    (33.0, 14.0, 20.0, 3.0, 2.0),
    (32.0, 14.0, 20.0, 3.0, 2.0),
    (31.5, 14.0, 20.0, 3.0, 2.0),
    (38.9, 14.0, 20.0, 3.0, 2.0),
    (39.5, 14.0, 20.0, 3.0, 2.0),
    (33.0, 14.0, 40.0, 10.0, 2.0),
    (29.0, 14.0, 40.0, 10.0, 2.0),
    (30.0, 13.2, 50.0, 20.0, 1.0),
    (33.0, 14.0, 60.0, 25.0, 2.0),
    (33.0, 14.0, 20.0, 0.0, 0.5),
    (32.2, 14.0, 20.0, 1.0, 0.0),
]


def simulated_probability(case: tuple[float, ...], lower_a: float, upper_a: float) -> float:
    amps, volts, coil_c, bound_c, percent = case
    rng = np.random.default_rng(20260503)

    def rectangle(centre: float, half_width: float) -> np.ndarray:
        return rng.uniform(centre - half_width, centre + half_width, TRIALS)

    alpha = rectangle(COPPER_TEMPERATURE_COEFFICIENT_PER_K, 0.01 * COPPER_TEMPERATURE_COEFFICIENT_PER_K)
    ratio = 1 + alpha * (rectangle(coil_c, bound_c) - 20)
    true_a = rectangle(amps, amps * percent / 100 + 0.5) * 14.0 / rectangle(volts, volts * 0.005 + 0.02) * ratio
    return float(np.mean((true_a >= lower_a) & (true_a <= upper_a)))


@pytest.mark.parametrize("two_sided", [True, False])
@pytest.mark.parametrize("case", CASES)
def test_simulation_agrees_within_0_012(case: tuple[float, ...], two_sided: bool) -> None:
    amps, volts, coil_c, bound_c, percent = case
    unit = rating() if two_sided else rating(tolerance_upper_percent=None)
    given = evidence(
        (read_alone(1, amps, volts),),
        rating=unit,
        ammeter=Meter(percent, 5, 0.1),
        coil_temperature_c=coil_c,
        coil_temperature_bound_c=bound_c,
        rest=None,
    )
    (judged,) = judge(given).stages
    simulated = simulated_probability(case, 31.95, 39.05 if two_sided else np.inf)
    assert judged.conformance_probability == pytest.approx(simulated, abs=0.012)


def test_the_cases_cover_doubt_as_well_as_certainty() -> None:
    simulated = [simulated_probability(case, 31.95, 39.05) for case in CASES]
    assert min(simulated) < 0.35
    assert sum(0.05 < probability < 0.95 for probability in simulated) >= 6
