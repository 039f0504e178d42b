"""The bench of verdicts: false acceptance at a limit, and healthy units that are not cleanly passed."""

from dataclasses import asdict

import numpy as np
import pytest

from calc.conformity import conformance_probability
from inspections.bench.verdict import CLAMPS, TEMPERATURE_BOUNDS_C, VerdictBench, measured_verdicts, verdict_table

SPEED = {
    "verdict_alone_ms": 0.3,
    "alone_ms": 0.41,
    "together_us_per_unit": 7.6,
    "answers_us_per_unit": 90.0,
    "gtc_us_per_unit": 700.0,
    "answers_over_together": 11.8,
    "gtc_over_together": 92.1,
    "uncertainties_agree_within": 2e-12,
    "units": 10_000,
    "stages": 4,
}


@pytest.fixture(scope="module")
def measured() -> VerdictBench:
    return measured_verdicts("small")


def test_a_unit_on_its_limit_is_accepted_no_more_often_than_the_guard_band_allows(measured: VerdictBench) -> None:
    guarded = [row for row in measured.false_accepts if row.rule == "guarded"]
    assert len(guarded) == 4
    for row in guarded:
        # JCGM 106:2012 8.3.2.3: 2.3 % with w = U; three standard errors of 20 000 inspections make it 2.6 %.
        assert row.inspections >= 20_000
        assert row.allowed_share < 0.0260
        assert row.accepted_share <= row.allowed_share, row


def test_the_guard_band_of_normal_errors_accepts_about_as_many_as_it_says(measured: VerdictBench) -> None:
    shares = [row.accepted_share for row in measured.false_accepts if (row.rule, row.errors) == ("guarded", "normal")]
    assert min(shares) > 0.018


def test_without_a_guard_band_half_of_them_are_accepted(measured: VerdictBench) -> None:
    shares = [row.accepted_share for row in measured.false_accepts if row.rule == "simple"]
    assert all(0.48 < share < 0.52 for share in shares)


def test_at_capability_one_both_limits_count(measured: VerdictBench) -> None:
    # JCGM 106:2012 7.7.5, C_m = 1: the one point of acceptance conforms with 95.45 %.
    one, nothing, limit = np.ones(1), np.zeros(1), np.full(1, 2.0)
    conforms = conformance_probability(nothing, one, nothing, -limit, limit)
    assert measured.at_capability_1 == pytest.approx(1 - float(conforms[0]), abs=1e-4)


def test_a_better_clamp_and_a_better_known_temperature_pass_more_healthy_units(measured: VerdictBench) -> None:
    shares = {(row.clamp, row.temperature_bound_c): row.share for row in measured.not_passed}
    assert len(shares) == len(CLAMPS) * len(TEMPERATURE_BOUNDS_C)
    clamps = list(CLAMPS)
    for bound_c in (3.0, 5.0, 10.0):
        assert shares[clamps[0], bound_c] < shares[clamps[1], bound_c] < shares[clamps[2], bound_c]
    for clamp in clamps:
        assert shares[clamp, 3.0] < shares[clamp, 10.0] <= shares[clamp, 30.0] == 1.0


def test_the_table_says_every_figure_in_percent(measured: VerdictBench) -> None:
    table = verdict_table({**asdict(measured), "speed": SPEED})
    assert table.count("accepted, at most") == len(measured.false_accepts)
    assert "4.55%" in table
    for clamp in CLAMPS:
        (line,) = [line for line in table.splitlines() if line.endswith(clamp)]
        assert line.count("%") == len(TEMPERATURE_BOUNDS_C) + 1
