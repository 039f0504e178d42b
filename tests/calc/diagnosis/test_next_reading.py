"""Which reading is asked for next, in which state, and when none is."""

from dataclasses import replace

import numpy as np
import pytest

from calc import circuit_faults as faults
from calc.circuit import Circuit
from calc.diagnosis.rank import rank
from calc.evidence import Evidence, ExtraReading, RelayBox, StageReading
from calc.hypotheses import READINGS
from calc.judgement import NextReading
from tests.calc.diagnosis.visits import UNITS, visit, with_extra

ISOLATED = {"coil_resistance", "insulation_resistance"}


def twelve() -> Circuit:
    return UNITS[12][0]()


def asked(evidence: Evidence) -> NextReading:
    found = rank(evidence).next_reading
    assert found is not None
    return found


def test_nothing_is_asked_of_a_sound_unit() -> None:
    assert rank(visit(twelve())).next_reading is None


def test_a_dead_stage_is_asked_for_its_output_with_what_each_cause_would_show() -> None:
    reading = asked(visit(faults.with_blown_fuse(twelve(), 3)))
    assert (reading.kind, reading.stage, reading.coil, reading.state) == ("output_voltage", 3, None, "running")
    assert 3 in reading.energised
    expected = {(each.cause, each.stage): each.value for each in reading.expected}
    assert expected["open_stage_lead", 3] == pytest.approx(13.6, abs=0.5)
    assert expected["blown_fuse", 3] == pytest.approx(0.1, abs=0.2)
    assert expected["contact_not_closing", 3] == pytest.approx(0.1, abs=0.2)


def test_a_settled_cause_ends_the_asking() -> None:
    unit = faults.with_blown_fuse(twelve(), 3)
    told = with_extra(visit(unit), ExtraReading("fuse_drop", 13.2, 3, None, (1, 2, 3, 4)))
    assert rank(told).next_reading is None


def test_what_no_reading_splits_ends_the_asking() -> None:
    unit = faults.with_supply_joint(twelve(), 0.020)
    found = ExtraReading("supply_drop", 2.7, None, None, (1, 2, 3, 4))
    ranking = rank(with_extra(visit(unit), found))
    assert {cause.cause for cause in ranking.hypotheses if cause.group == 1} == {"supply_joint", "supply_cable"}
    assert ranking.next_reading is None


@pytest.mark.parametrize("place", [1, 2])
def test_after_an_over_current_nothing_live_is_asked_on_that_stage(place: int) -> None:
    evidence = visit(faults.with_coil_to_frame(twelve(), 3, 0.005, coil=place))
    for _ in range(4):
        reading = rank(evidence).next_reading
        if reading is None:
            break
        assert 3 not in reading.energised
        assert reading.stage != 3 or reading.state == "isolated"
        taken = ExtraReading(reading.kind, 1e6, reading.stage, reading.coil, reading.energised)
        evidence = with_extra(evidence, taken)


def test_while_the_supply_collapses_nothing_live_is_asked() -> None:
    evidence = visit(twelve())
    collapsed = replace(evidence, stage_readings=(StageReading(1, (1,), 6.0, 250.0),))
    reading = rank(collapsed).next_reading
    assert reading is None or reading.state == "isolated" or reading.energised == ()


def test_the_same_reading_is_not_asked_twice() -> None:
    evidence = visit(faults.with_stage_joint_resistance(twelve(), 2, 0.03))
    seen = set()
    for _ in range(8):
        reading = rank(evidence).next_reading
        if reading is None:
            break
        place = (reading.kind, reading.stage, reading.coil, len(reading.energised) == 1)
        assert place not in seen
        seen.add(place)
        value = next((each.value for each in reading.expected), 0.0)
        evidence = with_extra(
            evidence, ExtraReading(reading.kind, value, reading.stage, reading.coil, reading.energised, value is None)
        )
    assert seen


@pytest.mark.parametrize("seed", range(25))
def test_whatever_was_read_the_reading_asked_for_is_one_that_can_be_taken_safely(seed: int) -> None:
    draw = np.random.default_rng(seed)
    evidence = visit(twelve())
    spoilt = tuple(
        replace(reading, current_a=round(reading.current_a * float(draw.choice([1, 1, 1, 0, 0.5, 1.2, 2.0])), 1))
        for reading in evidence.stage_readings
    )
    reading = rank(replace(evidence, stage_readings=spoilt)).next_reading
    hot = {r.stage for r in spoilt if len(r.energised) == 1 and r.current_a / r.supply_voltage_v > 1.3 * 35 / 12}
    if reading is not None:
        assert reading.kind in READINGS
        assert reading.why == f"why_{reading.kind}"
        assert (reading.state == "isolated") == (reading.kind in ISOLATED)
        assert reading.state == "running" or reading.energised == ()
        assert hot.isdisjoint(reading.energised)


def test_an_unfused_box_is_not_asked_for_its_fuses() -> None:
    dead = visit(faults.with_contact_not_closing(twelve(), 3), relay_box=RelayBox(fuses="none"))
    assert asked(dead).kind != "fuse_drop"
    found = with_extra(dead, ExtraReading("output_voltage", 0.1, 3, None, (1, 2, 3, 4)))
    assert rank(found).hypotheses[0].cause == "contact_not_closing"


def test_what_is_out_of_reach_is_passed_over_for_the_next_best() -> None:
    dead = visit(faults.with_blown_fuse(twelve(), 3))
    passed: set[tuple[str, int | None, int | None]] = set()
    for _ in range(4):
        reading = rank(dead, None, passed).next_reading
        assert reading is not None
        spot = (reading.kind, reading.stage, reading.coil)
        assert spot not in passed
        passed.add(spot)
    assert rank(dead).next_reading is not None


def test_a_hot_stage_and_a_collapse_are_said_with_the_ranking() -> None:
    high = rank(visit(faults.with_coil_to_frame(twelve(), 3, 0.005, coil=1)))
    assert (high.hot_stages, high.collapsed) == ((3,), False)
    sound = rank(visit(twelve()))
    assert (sound.hot_stages, sound.collapsed) == ((), False)
    collapsed = rank(replace(visit(twelve()), stage_readings=(StageReading(1, (1,), 6.0, 250.0),)))
    assert collapsed.collapsed
