"""The bench of what a verdict costs: its peers do the same work, and judging together is far cheaper than they are."""

from math import inf, isfinite
from typing import Any

import pytest

from calc.batch import judged_together
from calc.judge import judge
from inspections.bench import judging_speed
from inspections.bench.judging_speed import bench_speed, speed_table, visited_units


@pytest.fixture(scope="module")
def figures() -> dict[str, Any]:
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(judging_speed, "UNITS", {"small": 2_000})
        patched.setattr(judging_speed, "LOOPED_UNITS", {"small": 20})
        return bench_speed("small")


def test_gtc_and_the_batch_work_out_the_same_uncertainty(figures: dict[str, Any]) -> None:
    assert figures["uncertainties_agree_within"] < 1e-9


def test_judging_together_costs_a_small_part_of_one_answer_each(figures: dict[str, Any]) -> None:
    # Ratios of one run, half of what they are where the machine is quiet, so that a busy one does not fail it.
    assert figures["answers_over_together"] > 5
    assert figures["gtc_over_together"] > 20


def test_the_bench_judges_units_of_every_class_and_each_as_it_would_be_alone() -> None:
    visits = visited_units(300)
    batch = judged_together(visits)
    assert set(batch.verdicts) == {"pass", "conditional_pass", "conditional_fail", "fail"}
    assert batch.verdicts == [judge(visit, rank="never").verdict for visit in visits]


def test_the_table_says_both_figures_beside_their_aims(figures: dict[str, Any]) -> None:
    assert 0 < figures["verdict_alone_ms"] < figures["alone_ms"] < inf
    assert isfinite(figures["together_us_per_unit"])
    table = speed_table(figures)
    assert "aim 0.5" in table
    assert "aim 10" in table
    assert "GTC" in table
