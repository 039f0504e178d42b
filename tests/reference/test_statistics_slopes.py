"""Published slopes and rank tests.

Origin L: ships inside a Python package.  S: seen in a secondary source.  M: from memory, and recomputes.
"""

import numpy as np
import pymannkendall  # type: ignore[import-untyped]
import pytest
from scipy import stats

from calc.arrays import Floats
from calc.trend.kendall import interval_rank, kendall_tail
from calc.trend.theil_sen import Slopes, theil_sen


def slopes_of(x: list[float], y: list[float], coverage: float = 0.90) -> dict[str, float]:
    found: Slopes = theil_sen(np.array(x, float)[:, None], np.array(y, float)[:, None, None], coverage)
    names = ("slope", "intercept", "low", "high", "score", "decline_p")
    return {name: float(getattr(found, name)[0, 0]) for name in names}


SEN_X, SEN_Y = [1.0, 2, 3, 4, 10, 12, 18], [9.0, 15, 19, 20, 45, 55, 78]


def test_sens_own_example() -> None:
    # A1, P. K. Sen, JASA 63 (1968) 1379 (L, S): slope 4, intercept 4, interval (26/7, 35/8) at 93 %.
    found = slopes_of(SEN_X, SEN_Y, 0.93)
    assert (found["slope"], found["intercept"]) == (4.0, 4.0)
    # His interval takes the 4th and 18th of 21 slopes and covers 96.98 %; the narrowest exact one the 5th and 17th.
    assert [found["low"], found["high"]] == pytest.approx([3.75, 46 / 11], abs=1e-12)
    wider = slopes_of(SEN_X, SEN_Y, 0.9698)
    assert [wider["low"], wider["high"]] == pytest.approx([26 / 7, 35 / 8], abs=1e-12)


def test_the_coverage_of_sens_interval_is_exact() -> None:
    # A1: ranks 4 and 18 cover 96.98 %, ranks 5 and 17 93.10 % (own enumeration).
    covered = [1 - 2 * (1 - kendall_tail(7)[rank]) for rank in (4, 5)]
    assert [round(100 * float(each), 2) for each in covered] == [96.98, 93.10]


@pytest.mark.parametrize(("sixth", "slope"), [(16.0, 1.0), (200.0, 1.0)])
def test_one_outlier_does_not_move_the_slope(sixth: float, slope: float) -> None:
    # A3, after USGS Statistical Methods in Water Resources, chapter 10 (M): least squares 1.714 and 14.857.
    y = [1.0, 2, 3, 4, 5, sixth, 7]
    assert slopes_of([1.0, 2, 3, 4, 5, 6, 7], y)["slope"] == slope
    assert round(float(np.polyfit(np.arange(1, 8), y, 1)[0]), 3) == {16.0: 1.714, 200.0: 14.857}[sixth]


# B1, Gilbert (1987) table A18 and Kendall (M): P(S ≥ s) without a trend.
GILBERT = {
    4: "0 .625; 2 .375; 4 .167; 6 .0417",
    5: "0 .592; 2 .408; 4 .242; 6 .117; 8 .0417; 10 .00833",
    6: "1 .500; 3 .360; 5 .235; 7 .136; 9 .0681; 11 .0278; 13 .00833; 15 .00139",
    7: "1 .500; 3 .386; 5 .281; 7 .191; 9 .119; 11 .0681; 13 .0345; 15 .0151; 17 .00536; 19 .00139; 21 .000198",
    8: "0 .548; 2 .452; 4 .360; 6 .274; 8 .199; 10 .138; 12 .0894; 14 .0543; 16 .0305; 18 .0156; 20 .00707; 22 .00275;"
    " 24 .000868; 26 .000198; 28 .0000248",
    9: "0 .540; 2 .460; 4 .381; 6 .306; 8 .238; 10 .179; 12 .130; 14 .0901; 16 .0597; 18 .0376; 20 .0223; 22 .0124;"
    " 24 .00633; 26 .00294; 28 .00121; 30 .000427; 32 .000121; 34 .0000248; 36 .00000276",
    10: "1 .500; 3 .431; 5 .364; 7 .300; 9 .242; 11 .190; 13 .146; 15 .108; 17 .0779; 19 .0542; 21 .0363; 23 .0233;"
    " 25 .0143; 27 .00833; 29 .00457; 31 .00234; 33 .00111; 35 .000473; 37 .000179; 39 .0000576; 41 .0000149;"
    " 43 .00000276; 45 .000000276",
}


@pytest.mark.parametrize("readings", GILBERT)
def test_the_tail_of_kendalls_s(readings: int) -> None:
    pairs = readings * (readings - 1) // 2
    for entry in GILBERT[readings].split(";"):
        score, printed = entry.split()
        exact = float(kendall_tail(readings)[(pairs + int(score)) // 2])
        digits = len(printed.lstrip(".0"))
        assert float(f"{exact:.{digits}g}") == pytest.approx(float(printed), rel=1e-12), (readings, score)


# B1, critical S at 95 % and 99 % for 4 to 10 readings, from a help page on the Mann-Kendall test (S).
CRITICAL: dict[float, list[int | None]] = {0.05: [6, 8, 11, 13, 16, 18, 21], 0.01: [None, 10, 13, 17, 20, 24, 27]}


@pytest.mark.parametrize("alpha", CRITICAL)
def test_critical_values_of_s(alpha: float) -> None:
    for readings, expected in zip(range(4, 11), CRITICAL[alpha], strict=True):
        pairs = readings * (readings - 1) // 2
        reached = [2 * i - pairs for i in range(pairs + 1) if kendall_tail(readings)[i] <= alpha]
        assert (min(reached) if reached else None) == expected, readings


@pytest.mark.parametrize(
    ("y", "two_sided"),
    [
        ([0, 1, 2, 3, 4, 5, 6, 7, 8, 9], 5.511463844797e-07),
        ([0, 2, 1, 3, 4, 5, 6, 7, 8, 9], 5.511463844797e-06),
        ([0, 2, 1, 3, 4, 6, 5, 7, 8, 9], 2.976190476190e-05),
    ],
)
def test_p_values_of_r(y: list[float], two_sided: float) -> None:
    # B2, R cor.test(method = "kendall", exact = 1), kept in scipy's own tests (L).
    falling = [-float(each) for each in y]
    assert 2 * slopes_of([float(k) for k in range(10)], falling)["decline_p"] == pytest.approx(two_sided, rel=1e-11)


def test_a_p_value_of_r_in_the_middle() -> None:
    # B2 (L): tau −0.14285714286, p 0.77261904762.
    x, y = [5.0, 2, 1, 3, 6, 4, 7], [5.0, 2, 6, 3, 1, 7, 4]
    in_order = [each for _, each in sorted(zip(x, y, strict=True))]
    found = slopes_of(sorted(x), in_order)
    assert found["score"] / 21 == pytest.approx(-0.14285714286, abs=1e-11)
    assert 2 * found["decline_p"] == pytest.approx(0.77261904762, abs=1e-11)


def test_five_readings_of_the_epas_guidance() -> None:
    # B4, EPA QA/G-9 (M): S = 6, one-sided p 0.117 of a rise, which a fall of the mirrored series has.
    found = slopes_of([1.0, 2, 3, 4, 5], [-5.0, -6, -11, -8, -10])
    assert found["score"] == -6
    assert round(found["decline_p"], 3) == 0.117


def random_batch(seed: int) -> tuple[Floats, Floats]:
    generator = np.random.default_rng(seed)
    times = np.cumsum(generator.gamma(4, 0.08, (20, 60)), axis=0)
    values = generator.normal(100, 2, (20, 3, 60)) - generator.normal(0, 2, (3, 60)) * times[:, None]
    values[generator.random(values.shape) < 0.15] = np.nan
    for column, length in enumerate(generator.integers(0, 21, 60)):
        times[length:, column] = np.nan
        values[length:, :, column] = np.nan
    return times, values


def test_ragged_batches_agree_with_scipy_and_pymannkendall() -> None:
    times, values = random_batch(3)
    found = theil_sen(times, values)
    compared = 0
    for stage, column in np.ndindex(3, 60):
        read = ~np.isnan(values[:, stage, column])
        x, y = times[read, column], values[read, stage, column]
        if len(x) < 4:
            continue
        scipys, kendalls = stats.theilslopes(y, x, 0.90), pymannkendall.original_test(y)
        assert found.slope[stage, column] == scipys.slope
        assert found.intercept[stage, column] == pytest.approx(scipys.intercept, abs=1e-12)
        assert found.score[stage, column] == kendalls.s
        p = stats.kendalltau(x, y, method="exact", alternative="less").pvalue
        assert found.decline_p[stage, column] == pytest.approx(p, abs=1e-12)
        if interval_rank(len(x), 0.90):
            assert float(found.low[stage, column]) == scipys.low_slope
            assert float(found.high[stage, column]) == scipys.high_slope
        compared += 1
    assert compared > 100


def test_ties_take_the_normal_approximation_with_the_variance_they_leave() -> None:
    y = np.array([3.0, 3, 2, 2, 2, 1, 1, 0])
    found = slopes_of([float(k) for k in range(8)], y.tolist())
    kendalls = pymannkendall.original_test(y)
    assert found["score"] == kendalls.s
    assert found["decline_p"] == pytest.approx(kendalls.p / 2, rel=1e-12)


def test_readings_of_one_instant_have_no_slope_between_them() -> None:
    x, y = [0.0, 1, 1, 2, 3], [5.0, 4, 4.2, 3, 1]
    found, scipys = slopes_of(x, y), stats.theilslopes(y, x, 0.90)
    assert found["slope"] == scipys.slope
    assert found["score"] == -9


def test_the_exact_p_is_smaller_than_the_usual_approximation_in_the_far_tail() -> None:
    # B (own computation): pymannkendall's two-sided p of a monotone series of 10 is 8.3e-5, the exact one 5.5e-7.
    assert pymannkendall.original_test(np.arange(10.0)).p == pytest.approx(8.3e-5, rel=0.01)
    assert 2 * float(kendall_tail(10)[-1]) == pytest.approx(5.5e-7, rel=0.01)
