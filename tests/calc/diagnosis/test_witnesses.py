"""Which reading speaks for a cause: the one that it explains and that the unit without it does not."""

import pytest

from calc import circuit_faults as faults
from calc.circuit import Circuit
from calc.diagnosis.rank import rank
from calc.evidence import ExtraReading
from tests.calc.diagnosis.visits import UNITS, visit, with_extra


def twelve() -> Circuit:
    return UNITS[12][0]()


def test_the_amps_of_a_dead_stage_speak_for_what_may_have_killed_it() -> None:
    witnesses = rank(visit(faults.with_blown_fuse(twelve(), 3))).witnesses
    for cause in ("blown_fuse", "contact_not_closing", "open_stage_lead"):
        witness = witnesses[cause, 3]
        assert witness.kind == "current"
        assert 3 in witness.energised
        assert witness.value is not None
        assert witness.without_cause is not None
        # Without it the stage would draw its 35 A more.
        assert witness.without_cause - witness.value == pytest.approx(40, abs=8)


def test_an_added_reading_speaks_for_the_cause_that_it_has_shown() -> None:
    poor = faults.with_retarder_ground(twelve(), 0.015)
    witness = rank(with_extra(visit(poor), ExtraReading("frame_ground_drop", 2.1))).witnesses["retarder_ground", None]
    assert (witness.kind, witness.value) == ("frame_ground_drop", 2.1)
    assert witness.without_cause is not None
    # Even where every part of a unit without it lies as far off as it may, it shows clearly less.
    assert witness.without_cause < 1.5


def test_nothing_speaks_for_a_sound_unit_against_itself() -> None:
    assert ("healthy", None) not in rank(visit(twelve())).witnesses
