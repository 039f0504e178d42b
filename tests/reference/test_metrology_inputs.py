"""Published figures for turning bounds, meter specifications and repeats into standard uncertainties.

Origin P: read in the primary text (JCGM 100:2008, JCGM 101:2008).  S: seen in a secondary source.
Every row gives the figure recomputed from unrounded inputs, asserted tightly, and the figure as printed.
"""

from dataclasses import dataclass
from math import dist, hypot
from statistics import fmean, stdev

import numpy as np
import pytest

from calc.columns import Readings
from calc.pooling import Conductances, Pooled, pool
from calc.uncertainty import combined_u, meter_half_width, rectangular_u, resolution_u


@dataclass(frozen=True)
class Published:
    source: str
    computed: float
    recomputed: float
    printed: float
    decimals: int


def spec_15_microvolt() -> float:
    return meter_half_width(0.928571, 14e-4, 2e-6)


def combined(*parts: float) -> float:
    return float(combined_u(np.array(parts)[:, None])[0])


def pooled(numerators: list[float], denominators: list[float]) -> Pooled:
    """Pool quotients numerator/denominator as if they were amps over volts."""
    number = len(numerators)
    zero, never = np.zeros(number, dtype=np.int64), np.zeros(number, dtype=np.bool_)
    above, below = np.array(numerators), np.array(denominators)
    return pool(
        zero, Readings(zero, zero, zero + 1, below, above, above * np.nan), Conductances(above / below, never, never)
    )


TABLE_1_C = [
    *(96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07),
    *(100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72),
]
H2_V = [5.007, 4.994, 5.005, 4.990, 4.999]
H2_A = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]
TEMPERATURES = pooled(TABLE_1_C, [1.0] * 20)
VOLTAGES = pooled(H2_V, [1.0] * 5)
SETS_OHM = [volts / amps for volts, amps in zip(H2_V, H2_A, strict=True)]
IMPEDANCES = pooled(H2_V, H2_A)
TYPE_A_V = float(VOLTAGES.u_scatter_s[0])

ROWS = [
    Published("A1 GUM 4.3.7 Ex. 2, half-width in µV (P)", spec_15_microvolt() * 1e6, 14e-6 * 928571 + 2.0, 15, 0),
    Published(
        "A1 GUM 4.3.7 Ex. 2, u in µV (P)",
        rectangular_u(spec_15_microvolt()) * 1e6,
        (14e-6 * 928571 + 2.0) / 3**0.5,
        8.7,
        1,
    ),
    Published(
        "A2 GUM 5.1.5 Ex., u_c in µV (P)",
        combined(rectangular_u(spec_15_microvolt()), 12e-6) * 1e6,
        14.7986466,
        15,
        0,
    ),
    Published("A3 GUM 4.3.7 Ex. 1, u in 1e-6/°C (P)", rectangular_u(0.40), 0.4 / 3**0.5, 0.23, 2),
    Published("A4 GUM 4.4.5, rectangular, u in °C (P)", rectangular_u(4.0), 4 / 3**0.5, 2.3, 1),
    Published("A10 GUM F.2.2.1, digital resolution (P)", resolution_u(1.0), 12**-0.5, 0.29, 2),
    Published("B14 EA-4/02 S9, ±0.05 V (S)", rectangular_u(0.05), 0.05 * 3**-0.5, 0.029, 3),
    Published(
        "B14 EA-4/02 S9, u in V from printed parts (S)",
        combined(0.001, 0.029, 0.0064),
        hypot(0.001, 0.029, 0.0064),
        0.030,
        3,
    ),
    Published(
        "B15 EA-4/02 S3, u in mΩ from printed parts (S)",
        combined(2.5, 5.8, 1.6, 3.2, 4.1, 0.7),
        dist((2.5, 5.8, 1.6, 3.2, 4.1, 0.7), (0,) * 6),
        8.4,
        1,
    ),
    Published(
        "D1 GUM 4.4.3 Table 1, mean in °C (P)", float(TEMPERATURES.conductance_s[0]), fmean(TABLE_1_C), 100.145, 3
    ),
    Published(
        "D1 GUM 4.4.3 Table 1, s/√20 in °C (P)",
        float(TEMPERATURES.u_scatter_s[0]),
        stdev(TABLE_1_C) / 20**0.5,
        0.333,
        3,
    ),
    Published("B4 GUM H.2, mean V (P)", float(VOLTAGES.conductance_s[0]), fmean(H2_V), 4.9990, 4),
    Published("B4 GUM H.2, u(V) (P)", TYPE_A_V, stdev(H2_V) / 5**0.5, 0.0032, 4),
    Published(
        "B4 GUM H.2 approach 2, Z = V/I set by set, Ω (P)",
        float(IMPEDANCES.conductance_s[0]),
        fmean(SETS_OHM),
        254.260,
        3,
    ),
    Published(
        "B4 GUM H.2 approach 2, u(Z) in Ω (P)", float(IMPEDANCES.u_scatter_s[0]), stdev(SETS_OHM) / 5**0.5, 0.236, 3
    ),
    Published(
        "D4 GTC test_type_a, one common error (P, code)",
        combined(TYPE_A_V, 0.01),
        hypot(stdev(H2_V) / 5**0.5, 0.01),
        0.0105,
        4,
    ),
]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.source)
def test_a_published_figure_is_met(row: Published) -> None:
    assert row.computed == pytest.approx(row.recomputed, rel=1e-6)
    assert round(row.computed, row.decimals) == row.printed


def test_the_two_terms_of_a_specification_add_linearly_and_not_in_quadrature() -> None:
    # GUM 4.3.7 Ex. 2 (P): in quadrature the standard uncertainty would be 7.594 µV.
    in_quadrature_v = combined(14e-6 * 0.928571, 2e-6) / 3**0.5
    assert in_quadrature_v == pytest.approx(7.594e-6, rel=1e-4)
    assert rectangular_u(spec_15_microvolt()) > 1.1 * in_quadrature_v


def test_variance_of_the_thermometer_bound_is_as_printed() -> None:
    # A3, GUM 4.3.7 Ex. 1 (P): u² = 53.3e-15.
    assert rectangular_u(0.40e-6) ** 2 == pytest.approx(5.3333e-14, rel=1e-5)
