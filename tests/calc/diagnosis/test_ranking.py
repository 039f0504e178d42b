"""The answer as a whole: probabilities, what the unit can have, pairs, limits, and readings that no circuit makes."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc import circuit_faults as faults
from calc.circuit import Circuit, coils_for_rated_current
from calc.diagnosis import priors
from calc.diagnosis.rank import rank
from calc.diagnosis.screen import ranked, sound_fits
from calc.evidence import Cable, Cables, Evidence, ExtraReading, Rating, RelayBox, StageReading
from calc.evidence_apart import ApartEvidence, Limits
from calc.hypotheses import CAUSES, READINGS
from calc.judge import judge
from tests.calc.diagnosis.visits import RATING_12, UNITS, first_group, probability, visit


def twelve() -> Circuit:
    return UNITS[12][0]()


def one_stage() -> Evidence:
    coils = coils_for_rated_current([35.0], 12.0, in_line_ohm=0.00926, coils_in_series=2, coils_in_parallel=2)
    unit = Circuit(14.0, 0.003, 0.00102, 0.0008, 0.0008, 0.0015, 0.00573, 0.0, coils, 0.00123, 0.00122)
    return visit(faults.with_blown_fuse(unit, 1), replace(RATING_12, rated_currents_a=(35.0,)))


def named(evidence: Evidence) -> set[str]:
    return {cause.cause for cause in rank(evidence).hypotheses}


any_value = st.one_of(st.floats(0, 30), st.floats(0, 1e6))


@st.composite
def any_visits(draw: st.DrawFn) -> Evidence:
    stages = draw(st.integers(1, 5))
    numbers = st.integers(1, stages)
    rating = Rating(
        (draw(st.floats(5, 100)),) * stages, draw(st.sampled_from([None, 12.0, 24.0])), 20.0, 10.0, 10.0,
        draw(st.sampled_from([12.0, 24.0])), draw(st.integers(1, 4)), draw(st.integers(1, 4)),
    )  # fmt: skip
    readings = [
        StageReading(
            max(inputs), tuple(sorted(inputs)), draw(any_value), draw(any_value), None, draw(st.none() | st.just((1,)))
        )
        for inputs in draw(st.lists(st.sets(numbers, min_size=1), max_size=4))
    ]
    extra = [
        ExtraReading(kind, value, draw(numbers), draw(st.integers(1, 16)), None, value is None)
        for kind, value in draw(st.lists(st.tuples(st.sampled_from(READINGS), any_value | st.none()), max_size=3))
    ]
    return replace(
        visit(twelve()), rating=rating, stage_readings=tuple(readings), extra_readings=tuple(extra), rest=None
    )


@settings(deadline=None, max_examples=60)
@given(any_visits())
def test_whatever_was_read_probabilities_sum_to_one_in_falling_order_and_groups_hold_together(
    given_visit: Evidence,
) -> None:
    ranking = rank(given_visit)
    chances = [cause.probability for cause in ranking.hypotheses]
    assert sum(chances) == pytest.approx(1.0, abs=1e-9)
    assert chances == sorted(chances, reverse=True)
    assert [cause.group for cause in ranking.hypotheses] == sorted(cause.group for cause in ranking.hypotheses)
    assert {cause.cause for cause in ranking.hypotheses} <= {*CAUSES, "healthy", "none_of_these"}
    assert ranking == rank(given_visit)


def test_an_odd_reading_alone_on_a_unit_that_has_no_second_cause_to_join_is_still_ranked() -> None:
    alone = ExtraReading("insulation_resistance", 166.0, 1, 1, None, over_range=False)
    single = replace(RATING_12, rated_currents_a=(5.0,), reference_voltage_v=None, coils_in_series=1)
    evidence = replace(visit(twelve()), rating=single, stage_readings=(), extra_readings=(alone,), rest=None)
    chances = [cause.probability for cause in rank(evidence).hypotheses]
    assert sum(chances) == pytest.approx(1.0, abs=1e-9)


def test_a_unit_without_fuses_has_none_to_blow() -> None:
    dead = visit(faults.with_contact_not_closing(twelve(), 3))
    assert "blown_fuse" in named(dead)
    assert "blown_fuse" not in named(replace(dead, relay_box=RelayBox(fuses="none")))


def test_one_fuse_for_all_stages_blows_for_the_whole_unit() -> None:
    nothing = visit(twelve(), outputs=lambda _: [], relay_box=RelayBox(fuses="common"))
    assert ("blown_fuse", None) in {(cause.cause, cause.stage) for cause in rank(nothing).hypotheses}
    assert ("blown_fuse", None) in first_group(rank(nothing))


def test_a_unit_of_one_stage_has_no_leads_to_exchange_or_double() -> None:
    assert named(one_stage()).isdisjoint({"outputs_exchanged", "leads_doubled"})
    assert ("blown_fuse", 1) in first_group(rank(one_stage()))


def test_an_insulated_return_leaves_no_joint_to_the_frame() -> None:
    high = visit(faults.with_shorted_turns(twelve(), 3, 1.0))
    assert "coil_to_frame" in named(high)
    assert "coil_to_frame" not in named(replace(high, return_path="insulated"))


def test_two_causes_are_named_together_where_neither_explains_alone() -> None:
    both = faults.with_retarder_ground(faults.with_open_stage_lead(twelve(), 2), 0.015)
    ranking = rank(visit(both))
    assert {("retarder_ground", None), ("open_stage_lead", 2)} <= first_group(ranking)
    ground = next(cause for cause in ranking.hypotheses if cause.cause == "retarder_ground")
    assert ("open_stage_lead", 2) in {(partner.cause, partner.stage) for partner in ground.together_with}


def test_a_single_cause_is_named_alone() -> None:
    ranking = rank(visit(faults.with_retarder_ground(twelve(), 0.015)))
    assert all(cause.together_with == () for cause in ranking.hypotheses)


def with_readings(*readings: tuple[float, float]) -> Evidence:
    evidence = visit(twelve())
    return replace(
        evidence,
        stage_readings=tuple(
            replace(reading, supply_voltage_v=volts, current_a=amps)
            for reading, (volts, amps) in zip(evidence.stage_readings, readings, strict=True)
        ),
    )


def sound_readings() -> list[tuple[float, float]]:
    return [(reading.supply_voltage_v, reading.current_a) for reading in visit(twelve()).stage_readings]


def test_a_slip_of_the_decimal_point_is_called_out() -> None:
    for slip in (10.0, 0.1):
        readings = sound_readings()
        volts, amps = readings[2]
        readings[2] = (volts, round(amps * slip, 1))
        assert rank(with_readings(*readings)).hypotheses[0].cause == "none_of_these"


def test_volts_and_amps_exchanged_are_called_out() -> None:
    exchanged = [(amps, volts) for volts, amps in sound_readings()]
    assert rank(with_readings(*exchanged)).hypotheses[0].cause == "none_of_these"


def test_a_reversed_clamp_is_called_out() -> None:
    reversed_clamp = [(volts, -amps) for volts, amps in sound_readings()]
    assert rank(with_readings(*reversed_clamp)).hypotheses[0].cause == "none_of_these"


def test_readings_no_cause_explains_are_followed_by_no_further_reading() -> None:
    exchanged = [(amps, volts) for volts, amps in sound_readings()]
    assert rank(with_readings(*exchanged)).next_reading is None


def test_below_the_users_limit_under_full_load_healthy_is_no_answer() -> None:
    evidence = visit(twelve())
    assert rank(evidence).hypotheses[0].cause == "healthy"
    limited = replace(evidence, apart=ApartEvidence(limits=Limits(supply_voltage_low_v=13.2)))
    assert "healthy" not in named(limited)
    met = replace(evidence, apart=ApartEvidence(limits=Limits(supply_voltage_low_v=13.0)))
    assert rank(met).hypotheses[0].cause == "healthy"


def test_a_cable_on_file_that_is_too_thin_is_itself_the_cause() -> None:
    thin = faults.with_supply_cable(twelve(), 0.00121 * 8)
    on_file = visit(thin, cables=Cables(supply=Cable("16 mm2", 8.0)))
    assert rank(on_file).hypotheses[0].cause == "supply_cable"
    assert not sound_fits(on_file)


def test_confirmed_causes_move_the_prior() -> None:
    dead = visit(faults.with_blown_fuse(twelve(), 3))
    before, after = rank(dead), rank(dead, {"blown_fuse": 40})
    assert probability(after, "blown_fuse", 3) > probability(before, "blown_fuse", 3) + 0.2
    assert sum(priors.cause_probabilities({"blown_fuse": 1, "low_supply": 1}, {"blown_fuse": 9}).values()) == (
        pytest.approx(1 - priors.HEALTHY_PRIOR - priors.NONE_OF_THESE_PRIOR)
    )


def test_the_resistances_of_the_likeliest_circuit_are_those_of_the_unit() -> None:
    ranking = rank(visit(faults.with_retarder_ground(twelve(), 0.015)))
    assert ranking.shared_ground_ohm == pytest.approx(0.0162, rel=0.05)
    assert ranking.upstream_ohm == pytest.approx(0.00604, rel=0.15)
    assert ranking.stage_ohm == pytest.approx([0.3416] * 4, rel=0.01)
    dead = rank(visit(faults.with_open_stage_lead(twelve(), 2)))
    assert dead.stage_ohm[1] is None


def test_the_screen_answers_for_a_sound_unit_and_calls_in_the_ranking_for_any_other() -> None:
    sound, poor = visit(twelve()), visit(faults.with_retarder_ground(twelve(), 0.010))
    assert (sound_fits(sound), sound_fits(poor)) == (True, False)
    short = judge(sound, rank="when_unfit").hypotheses
    assert [cause.cause for cause in short] == ["healthy", "none_of_these"]
    assert judge(poor, rank="when_unfit").hypotheses[0].cause == "retarder_ground"
    assert judge(poor).next_reading == rank(poor).next_reading


def test_an_electronic_drive_is_not_ranked_by_resistances() -> None:
    electronic = visit(faults.with_blown_fuse(twelve(), 3), relay_box=RelayBox(drive="electronic"))
    answer = ranked(electronic, "always", 0.5, defect_found=False)
    assert {cause.cause for cause in answer.hypotheses} == {"healthy", "none_of_these"}


def test_without_a_reference_voltage_a_stage_still_stands_out_against_the_others() -> None:
    dead = visit(faults.with_blown_fuse(twelve(), 3))
    unstated = replace(dead, rating=replace(dead.rating, reference_voltage_v=None))
    assert ("blown_fuse", 3) in first_group(rank(unstated))
