"""Every signature of the forward circuit leads back to the cause that made it, on 12 V and on 24 V units."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from calc import circuit_faults as faults
from calc.circuit import Circuit
from calc.diagnosis.rank import rank
from tests.calc.diagnosis.visits import UNITS, first_group, visit

Place = tuple[str, int | None]
Fault = Callable[[Circuit, float], Circuit]
# Sizes are the project's own example values for 12 V; a 24 V unit has the same share of its larger loop.
LOOP_RATIO = {12: 1.0, 24: 0.960 / 0.342857}

FAULTS: dict[Place, Fault] = {
    ("healthy", None): lambda unit, _: unit,
    ("open_coil", 3): lambda unit, _: faults.with_open_coil(unit, 3),
    ("open_stage_lead", 3): lambda unit, _: faults.with_open_stage_lead(unit, 3),
    ("shorted_turns", 3): lambda unit, _: faults.with_shorted_turns(unit, 3, 0.35),
    ("shorted_coil", 3): lambda unit, _: faults.with_shorted_turns(unit, 3, 1.0),
    ("coil_to_frame", 3): lambda unit, loop: faults.with_coil_to_frame(unit, 3, 0.005 * loop, coil=2),
    ("blown_fuse", 3): lambda unit, _: faults.with_blown_fuse(unit, 3),
    ("contact_not_closing", 3): lambda unit, _: faults.with_contact_not_closing(unit, 3),
    ("contact_resistance", 3): lambda unit, loop: faults.with_contact_resistance(unit, 3, 0.050 * loop),
    ("stage_joint_resistance", 3): lambda unit, loop: faults.with_stage_joint_resistance(unit, 3, 0.050 * loop),
    ("welded_contact", 3): lambda unit, _: faults.with_welded_contact(unit, 3),
    ("leads_doubled", 3): lambda unit, _: faults.with_leads_doubled(unit, 3, 4),
    ("retarder_ground", None): lambda unit, loop: faults.with_retarder_ground(unit, 0.015 * loop),
    ("low_supply", None): lambda unit, loop: faults.with_low_supply(unit, 12.2 / 14.0 * unit.emf_v, 0.008 * loop),
    ("hot_coils", None): lambda unit, _: faults.with_hot_coils(unit, 150.0),
    ("main_supply_open", None): lambda unit, _: faults.with_supply_joint(unit, float("inf")),
}


@pytest.mark.parametrize("volts", UNITS)
@pytest.mark.parametrize("place", FAULTS)
def test_the_group_of_the_true_cause_comes_first(place: Place, volts: int) -> None:
    unit, rating = UNITS[volts]
    assert place in first_group(rank(visit(FAULTS[place](unit(), LOOP_RATIO[volts]), rating)))


UPSTREAM: dict[str, Fault] = {
    "chassis_ground": lambda unit, loop: faults.with_chassis_ground(unit, 0.012 * loop),
    "supply_joint": lambda unit, loop: faults.with_supply_joint(unit, 0.012 * loop),
    "supply_cable": lambda unit, loop: faults.with_supply_cable(unit, unit.supply_cable_ohm + 0.012 * loop),
}


@pytest.mark.parametrize("volts", UNITS)
@pytest.mark.parametrize("cause", UPSTREAM)
def test_losses_before_the_box_share_one_group_at_the_head(cause: str, volts: int) -> None:
    unit, rating = UNITS[volts]
    first = first_group(rank(visit(UPSTREAM[cause](unit(), LOOP_RATIO[volts]), rating)))
    assert {(each, None) for each in UPSTREAM} <= first


@pytest.mark.parametrize("volts", UNITS)
def test_a_clamp_that_is_not_zeroed_is_known_by_its_rest_reading(volts: int) -> None:
    unit, rating = UNITS[volts]
    ranking = rank(visit(unit(), rating, read_amps=lambda amps: amps + 3.0))
    assert first_group(ranking) == {("clamp_zero", None)}


@pytest.mark.parametrize("volts", UNITS)
def test_a_flat_ratio_leaves_clamp_heat_and_rating_in_one_group(volts: int) -> None:
    unit, rating = UNITS[volts]
    first = first_group(rank(visit(unit(), rating, read_amps=lambda amps: 0.88 * amps)))
    assert first == {("clamp_gain", None), ("hot_coils", None), ("wrong_rating", None)}


@pytest.mark.parametrize("volts", UNITS)
def test_a_clamp_round_one_of_two_cables_reads_half_while_the_box_sags_for_all(volts: int) -> None:
    unit, rating = UNITS[volts]
    ranking = rank(visit(unit(), rating, read_amps=lambda amps: 0.5 * amps))
    assert ranking.hypotheses[0].cause == "clamp_gain"


@pytest.mark.parametrize("ratio", [0.7, 1.25])
def test_amps_of_another_model_put_the_rating_first(ratio: float) -> None:
    unit, rating = UNITS[12]
    ranking = rank(visit(unit(), replace(rating, rated_currents_a=(35.0 * ratio,) * 4)))
    assert ("wrong_rating", None) in first_group(ranking)


def test_a_lost_control_ground_leaves_the_box_its_volts_and_no_amps() -> None:
    unit, _ = UNITS[12]
    ranking = rank(visit(unit(), outputs=lambda _: []))
    assert ranking.hypotheses[0].cause == "control_ground_open"


def test_outputs_exchanged_are_seen_by_the_outputs_that_are_live() -> None:
    unit, _ = UNITS[12]
    there = {1: 1, 2: 2, 3: 4, 4: 3}
    swapped = visit(unit(), outputs=lambda inputs: [there[k] for k in inputs], look_at_outputs=True)
    assert first_group(rank(swapped)) >= {("outputs_exchanged", 3), ("outputs_exchanged", 4)}
    unseen = visit(unit(), outputs=lambda inputs: [there[k] for k in inputs])
    assert rank(unseen).hypotheses[0].cause == "healthy"


def test_a_quarter_of_one_coils_turns_shorted_is_near_to_nothing() -> None:
    unit, _ = UNITS[12]
    ranking = rank(visit(faults.with_shorted_turns(unit(), 3, 0.10)))
    assert ranking.hypotheses[0].cause == "healthy"
