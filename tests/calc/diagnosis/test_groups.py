"""What volts and amps cannot separate stays in one group until the reading that splits it."""

import pytest

from calc import circuit_faults as faults
from calc.circuit import Circuit
from calc.diagnosis.rank import rank
from calc.evidence import ExtraReading
from tests.calc.diagnosis.visits import RATING_12, UNITS, first_group, probability, solved, visit, with_extra

ALL = (1, 2, 3, 4)


def twelve() -> Circuit:
    return UNITS[12][0]()


def read(unit: Circuit, kind: str, stage: int) -> ExtraReading:
    found = solved(unit, ALL)
    values = {
        "output_voltage": found.output_voltage_v,
        "contact_drop": found.contact_drop_v,
        "fuse_drop": found.fuse_drop_v,
    }
    return ExtraReading(kind, round(float(values[kind][stage - 1]), 2), stage, None, ALL)


def test_a_dead_stage_is_fuse_contact_or_lead_until_its_output_is_read() -> None:
    unit = faults.with_blown_fuse(twelve(), 3)
    dead = visit(unit)
    assert first_group(rank(dead)) == {("blown_fuse", 3), ("contact_not_closing", 3), ("open_stage_lead", 3)}
    after_output = with_extra(dead, read(unit, "output_voltage", 3))
    assert first_group(rank(after_output)) == {("blown_fuse", 3), ("contact_not_closing", 3)}
    assert first_group(rank(with_extra(after_output, read(unit, "fuse_drop", 3)))) == {("blown_fuse", 3)}


def test_where_all_coils_lie_in_one_string_a_dead_stage_may_be_an_open_coil_too() -> None:
    unit, rating = UNITS[24]
    first = first_group(rank(visit(faults.with_open_stage_lead(unit(), 3), rating)))
    assert {("open_coil", 3), ("open_stage_lead", 3), ("blown_fuse", 3), ("contact_not_closing", 3)} == first


def test_a_low_stage_is_contact_or_joint_until_the_contact_drop() -> None:
    unit = faults.with_contact_resistance(twelve(), 3, 0.050)
    low = visit(unit)
    assert first_group(rank(low)) == {("contact_resistance", 3), ("stage_joint_resistance", 3)}
    assert first_group(rank(with_extra(low, read(unit, "contact_drop", 3)))) == {("contact_resistance", 3)}


def test_an_open_coil_at_half_the_amps_is_not_final_before_the_contact_drop() -> None:
    unit = faults.with_open_coil(twelve(), 3)
    half = visit(unit)
    ranking = rank(half)
    assert ranking.hypotheses[0].cause == "open_coil"
    assert ("contact_resistance", 3) in first_group(ranking)
    assert ranking.next_reading is not None
    assert (ranking.next_reading.kind, ranking.next_reading.stage) == ("contact_drop", 3)
    after = rank(with_extra(half, read(unit, "contact_drop", 3)))
    assert ("contact_resistance", 3) not in first_group(after)
    assert probability(after, "open_coil", 3) > 0.95


def test_a_contact_of_just_half_the_amps_is_found_by_the_contact_drop() -> None:
    unit = faults.with_contact_resistance(twelve(), 3, 0.3336)
    ranking = rank(with_extra(visit(unit), read(unit, "contact_drop", 3)))
    assert first_group(ranking) == {("contact_resistance", 3)}


def test_a_high_stage_is_shorted_or_to_frame_until_its_insulation_is_read() -> None:
    high = visit(faults.with_shorted_turns(twelve(), 3, 1.0))
    assert {("shorted_coil", 3), ("coil_to_frame", 3)} <= first_group(rank(high))
    sound = rank(with_extra(high, ExtraReading("insulation_resistance", 5e6, 3, None, ())))
    assert ("coil_to_frame", 3) not in first_group(sound)
    assert probability(sound, "shorted_coil", 3) + probability(sound, "shorted_turns", 3) > 0.99
    bad = rank(with_extra(high, ExtraReading("insulation_resistance", 0.2, 3, None, ())))
    assert first_group(bad) == {("coil_to_frame", 3)}


SPLIT_BY = {"chassis_ground": "chassis_ground_drop", "supply_joint": "supply_drop", "low_supply": "battery_voltage"}


@pytest.mark.parametrize("cause", ["chassis_ground", "supply_joint"])
def test_a_sagging_box_is_split_by_the_drops_on_the_way(cause: str) -> None:
    change = {"chassis_ground": faults.with_chassis_ground, "supply_joint": faults.with_supply_joint}[cause]
    unit = change(twelve(), 0.008)
    found = solved(unit, ALL)
    value = {"chassis_ground": found.chassis_ground_drop_v, "supply_joint": found.supply_drop_v}[cause]
    told = rank(with_extra(visit(unit), ExtraReading(SPLIT_BY[cause], round(float(value), 2), None, None, ALL)))
    assert told.hypotheses[0].cause == cause
    other = {"chassis_ground": "supply_joint", "supply_joint": "chassis_ground"}[cause]
    assert (other, None) not in first_group(told)


def test_a_low_supply_is_told_from_the_way_to_the_box_by_its_rest_volts() -> None:
    assert first_group(rank(visit(faults.with_low_supply(twelve(), 12.2, 0.008)))) == {("low_supply", None)}


def test_hot_coils_and_a_wrong_clamp_are_split_by_ohms_with_the_lead_off() -> None:
    low = visit(twelve(), read_amps=lambda amps: 0.88 * amps)
    assert ("hot_coils", None) in first_group(rank(low))
    cold = rank(with_extra(low, ExtraReading("coil_resistance", 0.339, 1, None, ())))
    assert cold.hypotheses[0].cause == "clamp_gain"
    warm = rank(with_extra(low, ExtraReading("coil_resistance", 0.385, 1, None, ())))
    assert warm.hypotheses[0].cause == "hot_coils"


def test_a_poor_retarder_ground_shows_only_when_stages_are_added() -> None:
    unit = faults.with_retarder_ground(twelve(), 0.010)
    both = rank(visit(unit))
    alone = rank(visit(unit, stage_readings=visit(unit).stage_readings[:4]))
    assert probability(both, "retarder_ground") > 0.95
    assert probability(alone, "retarder_ground") < probability(both, "retarder_ground")


def test_current_with_everything_off_is_a_weld_where_it_is_a_stage_and_a_zero_where_it_is_small() -> None:
    assert first_group(rank(visit(faults.with_welded_contact(twelve(), 3)))) == {("welded_contact", 3)}
    assert first_group(rank(visit(twelve(), read_amps=lambda amps: amps + 2.0))) == {("clamp_zero", None)}


def test_causes_of_one_group_stand_side_by_side_and_the_most_probable_comes_first() -> None:
    for fault in (faults.with_blown_fuse, faults.with_open_coil, faults.with_welded_contact):
        ranking = rank(visit(fault(twelve(), 3), RATING_12))
        numbers = [cause.group for cause in ranking.hypotheses]
        assert numbers == sorted(numbers)
        assert numbers[0] == 1
        chances = [cause.probability for cause in ranking.hypotheses]
        assert chances == sorted(chances, reverse=True)
        assert sum(chances) == pytest.approx(1.0, abs=1e-12)
