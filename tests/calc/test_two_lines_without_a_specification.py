"""Two straight lines through a cumulative pass: the resistance before the box and the one that the stages share."""

from dataclasses import replace

import pytest

from calc.apart.lines import straight_line
from calc.evidence_apart import ApartEvidence, Limits
from tests.calc.builders import cumulative_pass, evidence, single_pass
from tests.calc.examples import (
    A_DEAD,
    A_GROUND,
    A_HEALTHY,
    A_HOT,
    A_LOW,
    A_UPSTREAM,
    TWELVE_VOLT,
    V_DEAD,
    V_GROUND,
    V_HEALTHY,
    V_HOT,
    V_LOW,
    V_UPSTREAM,
    codes,
    cumulative,
    judge,
    lines_of,
)


# Two lines of the worked examples (derived): EMF, upstream, stage and shared resistance, with the repeatability by
# simulation for 12 V: upstream ±0.2, shared ±1.2, stage ±5 mΩ at one standard deviation.
@pytest.mark.parametrize(
    ("volts", "amps", "source_v", "upstream_mohm", "stage_mohm", "shared_mohm"),
    [
        (V_HEALTHY, A_HEALTHY, 14.00, 6.04, 341.6, 1.23),
        (V_GROUND, A_GROUND, 14.00, 6.04, 341.6, 16.23),
        (V_UPSTREAM, A_UPSTREAM, 14.00, 14.04, 341.6, 1.23),
        (V_LOW, A_LOW, 12.20, 11.04, 341.6, 1.23),
        (V_HOT, A_HOT, 14.00, 6.04, 512.0, 1.23),
    ],
    ids=["healthy", "poor retarder ground", "poor chassis ground", "low battery", "hot coils"],
)
def test_two_lines_find_the_resistances_without_a_specification(
    volts: tuple[float, ...],
    amps: tuple[float, ...],
    source_v: float,
    upstream_mohm: float,
    stage_mohm: float,
    shared_mohm: float,
) -> None:
    lines = lines_of(cumulative(volts, amps))
    assert lines.source_voltage_v == pytest.approx(source_v, abs=0.01)
    assert lines.upstream_resistance_mohm == pytest.approx(upstream_mohm, abs=0.1)
    assert lines.stage_resistance_mohm == pytest.approx(stage_mohm, abs=1.0)
    assert lines.shared_ground_resistance_mohm == pytest.approx(shared_mohm, abs=0.3)
    assert not lines.upstream_curved
    assert not lines.shared_ground_curved


def test_their_uncertainties_are_those_of_the_simulation() -> None:
    lines = lines_of(cumulative(V_HEALTHY, A_HEALTHY))
    assert (lines.upstream_expanded_uncertainty_mohm or 0) / 2 == pytest.approx(0.2, abs=0.05)
    assert (lines.shared_ground_expanded_uncertainty_mohm or 0) / 2 == pytest.approx(1.2, abs=0.3)
    assert (lines.stage_expanded_uncertainty_mohm or 0) / 2 == pytest.approx(5.0, abs=3.0)


def test_a_dead_stage_bends_the_second_line_and_it_is_not_used() -> None:
    judgement = judge(cumulative(V_DEAD, A_DEAD))
    lines = judgement.circuit_lines
    assert lines is not None
    assert lines.shared_ground_curved
    assert (lines.stage_resistance_mohm, lines.shared_ground_resistance_mohm) == (None, None)
    assert lines.upstream_resistance_mohm == pytest.approx(6.04, abs=0.1)
    assert "shared_ground_resistance_curved" in codes(judgement)


def test_a_source_that_gives_up_bends_the_first_line_and_it_is_not_used() -> None:
    volts = (14.00, 13.76, 13.53, 12.40, 11.20)
    judgement = judge(cumulative(volts, tuple(a * v / w for a, v, w in zip(A_HEALTHY, volts, V_HEALTHY, strict=True))))
    lines = judgement.circuit_lines
    assert lines is not None
    assert lines.upstream_curved
    assert (lines.source_voltage_v, lines.upstream_resistance_mohm) == (None, None)
    assert lines.shared_ground_resistance_mohm == pytest.approx(1.23, abs=0.3)


def test_stages_that_are_not_equal_are_counted_by_their_rated_share() -> None:
    unit = replace(TWELVE_VOLT, rated_currents_a=(20.0, 40.0, 30.0))
    shares = (20 / 30, 60 / 30, 90 / 30)
    amps = [13.0 / (0.400 / share + 0.010) for share in shares]
    lines = lines_of(evidence(cumulative_pass(tuple(amps), (13.0,) * 3), rating=unit, rest=None))
    assert lines.stage_resistance_mohm == pytest.approx(400.0, rel=1e-9)
    assert lines.shared_ground_resistance_mohm == pytest.approx(10.0, rel=1e-9)
    assert lines.upstream_resistance_mohm is not None


def test_a_line_needs_three_points_that_lie_apart() -> None:
    assert straight_line([0.0, 1.0], [1.0, 2.0], [0.1, 0.1]) is None
    assert straight_line([1.0, 1.0, 1.0], [1.0, 2.0, 3.0], [0.1] * 3) is None
    assert judge(evidence(single_pass((36.3,) * 4))).circuit_lines is None


@pytest.mark.parametrize(("limit_mohm", "state"), [(20.0, "good"), (17.0, "not_checked"), (8.0, "bad")])
def test_the_shared_ground_is_good_or_bad_only_where_its_uncertainty_allows_it(limit_mohm: float, state: str) -> None:
    visit = cumulative(V_GROUND, A_GROUND, apart=ApartEvidence(Limits(shared_ground_resistance_mohm=limit_mohm)))
    judgement = judge(visit)
    assert judgement.apart["shared_ground"] == state
    named = [reason.code for reason in judgement.verdict_reasons]
    assert ("shared_ground_resistance_high" in named) == (state == "bad")


def test_without_a_limit_a_poor_shared_ground_is_a_caution_and_fails_nobody() -> None:
    judgement = judge(cumulative(V_GROUND, A_GROUND))
    (finding,) = [finding for finding in judgement.findings if finding.code == "shared_ground_resistance_shows"]
    assert finding.severity == "caution"
    assert judgement.apart["shared_ground"] == "not_checked"
    assert "shared_ground_resistance_shows" not in codes(judge(cumulative(V_HEALTHY, A_HEALTHY)))


@pytest.mark.parametrize(("limit_mohm", "state"), [(8.0, "good"), (6.1, "not_checked"), (5.0, "bad")])
def test_the_upstream_resistance_is_held_against_the_users_limit(limit_mohm: float, state: str) -> None:
    visit = cumulative(V_HEALTHY, A_HEALTHY, apart=ApartEvidence(Limits(upstream_resistance_mohm=limit_mohm)))
    assert judge(visit).apart["upstream_resistance"] == state
