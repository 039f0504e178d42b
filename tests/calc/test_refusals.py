"""What judging refuses: by quantity, value and permitted range."""

from typing import Any

import pytest

from calc.errors import OutOfRange
from calc.evidence import Meter, RestReading, StageReading
from calc.judge import judge, judge_batch
from tests.calc.builders import evidence, rating, read_alone

NAN = float("nan")


@pytest.mark.parametrize(
    ("changes", "quantity"),
    [
        ({"stage_readings": (read_alone(1, 36.3, -0.01),)}, "supply_voltage_v"),
        ({"stage_readings": (read_alone(1, 36.3, NAN),)}, "supply_voltage_v"),
        ({"stage_readings": (read_alone(1, -0.51),)}, "current_a"),
        ({"stage_readings": (read_alone(1, float("inf")),)}, "current_a"),
        ({"stage_readings": (read_alone(5, 36.3),)}, "stage"),
        ({"stage_readings": (StageReading(1, (1, 5), 14.0, 36.3),)}, "energised inputs as bits"),
        ({"stage_readings": (StageReading(1, (2,), 14.0, 36.3),)}, "energised inputs that are the stage's"),
        ({"stage_readings": (StageReading(1, (), 14.0, 36.3),)}, "energised inputs as bits"),
        ({"coil_temperature_c": 401.0}, "coil_temperature_c"),
        ({"coil_temperature_c": NAN}, "coil_temperature_c"),
        ({"coil_temperature_bound_c": -1.0}, "coil_temperature_bound_c"),
        ({"rating": rating(reference_temperature_c=-61.0)}, "reference_temperature_c"),
        ({"rating": rating(reference_voltage_v=-14.0)}, "reference_voltage_v"),
        ({"rating": rating(rated_currents_a=(35.5, 0.0, 35.5, 35.5))}, "rated_current_a"),
        ({"rating": rating(rated_currents_a=())}, "stages"),
        ({"rating": rating(rated_currents_a=(35.5,) * 9)}, "stages"),
        ({"rating": rating(tolerance_lower_percent=-10.0)}, "tolerance_percent"),
        ({"ammeter": Meter(-2.0, 5, 0.1)}, "accuracy_percent"),
        ({"voltmeter": Meter(0.5, NAN, 0.01)}, "accuracy_counts × resolution"),
        ({"rest": RestReading(14.0, float("inf"))}, "rest.current_a"),
        ({"decision_rule": "max_false_accept"}, "max_false_accept_probability"),
        ({"decision_rule": "max_false_accept", "max_false_accept_probability": 0.51}, "max_false_accept_probability"),
        ({"decision_rule": "max_false_accept", "max_false_accept_probability": 0.0}, "max_false_accept_probability"),
    ],
)
def test_what_no_formula_holds_for_is_refused_by_name(changes: dict[str, Any], quantity: str) -> None:
    with pytest.raises(OutOfRange) as refusal:
        judge(evidence(**changes))
    assert refusal.value.quantity == quantity


def test_a_negative_current_within_the_counts_is_accepted() -> None:
    (judged,) = judge(evidence((read_alone(1, -0.5),))).stages
    assert judged.verdict == "fail"
    assert judged.normalised_current_a == pytest.approx(-0.5)


def test_one_bad_visit_refuses_the_batch() -> None:
    with pytest.raises(OutOfRange, match=r"current_a = -3 is outside the permitted range -0\.5 to 1e\+06"):
        judge_batch([evidence(), evidence((read_alone(1, -3.0),))])
