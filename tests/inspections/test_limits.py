"""The organisation's own bounds, limits and lists: they go with the readings of a day, and change nothing judged."""

from decimal import Decimal
from typing import Any

import pytest

from accounts.actors import Actor
from accounts.errors import Conflict, NotAllowed, Refused
from accounts.models import AuditEntry
from accounts.roles import Role
from fleet.models import RatingRevision
from inspections.limits import limits_in_force
from inspections.models import Inspection, LimitsRevision
from inspections.services.judging import full_result
from inspections.services.limits import set_limits, set_rule
from inspections.services.survey_limits import state_survey_limits
from inspections.survey_items import CONTROL, MECHANICAL, Item
from tests import builders
from tests.builders import Workshop
from tests.inspections.visits import recorded

LIMITS = {"12": {"supply_voltage_low_v": Decimal("13.50")}, "24": {"supply_voltage_low_v": Decimal("27.0")}}


@pytest.fixture
def manager(workshop: Workshop) -> Actor:
    return builders.actor(workshop.organisation, Role.MANAGER)


def cumulative(volts: float = 13.4) -> list[dict[str, Any]]:
    steps = [list(range(1, number + 1)) for number in range(1, 5)]
    return [
        {"stage": on[-1], "energised": on, "supply_voltage_v": volts, "current_a": 36.3 * len(on) * volts / 14.0}
        for on in steps
    ]


def test_a_book_that_set_nothing_judges_with_the_built_in_ones(workshop: Workshop) -> None:
    own = limits_in_force(workshop.organisation)
    assert (own.number, own.bounds_c(), len(own.items(CONTROL)), len(own.items(MECHANICAL))) == (0, {}, 8, 8)
    evidence = recorded(workshop).inspection.evidence
    assert {"limits", "limits_revision", "control_items", "usual_temperature_bounds_c"} & evidence.keys() == set()


def test_limits_hold_for_checks_to_come_and_leave_what_was_judged(workshop: Workshop, manager: Actor) -> None:
    before = recorded(workshop, stage_readings=cumulative())
    assert before.result["apart"]["supply"] == "not_checked"
    set_limits(manager, opened=0, limits=LIMITS)
    after = recorded(workshop, "2026-03-03T09:30:00Z", stage_readings=cumulative())
    assert after.result["apart"]["supply"] == "bad"
    assert after.inspection.evidence["limits"] == {"supply_voltage_low_v": "13.50"}
    assert after.inspection.evidence["limits_revision"] == 1
    stored = Inspection.objects.get(pk=before.inspection.pk)
    again = full_result(stored, stored.judgements.get())
    assert (stored.verdict, again["apart"]["supply"]) == (before.result["verdict"], "not_checked")


def test_a_limit_that_came_with_the_readings_stands_before_the_books_own(workshop: Workshop, manager: Actor) -> None:
    set_limits(manager, opened=0, limits=LIMITS)
    sent = {"supply_voltage_low_v": 13.0}
    result = recorded(workshop, stage_readings=cumulative(), limits=sent).result
    assert result["apart"]["supply"] == "good"


def test_the_usual_bound_of_a_method_is_the_books_own(workshop: Workshop, manager: Actor) -> None:
    set_limits(manager, opened=0, temperature_bounds_c={"parked": Decimal("8")})
    result = recorded(workshop, coil_temperature_bound_c=None).result
    (assumed,) = [each for each in result["findings"] if each["code"] == "coil_temperature_assumed"]
    assert assumed["params"]["coil_temperature_bound_c"] == 8.0


def test_a_list_is_renamed_hidden_and_added_to_and_the_words_of_the_day_are_kept(
    workshop: Workshop, manager: Actor
) -> None:
    items = [Item("drivers_lever", name="Hand control"), Item("stop_lamps", hidden=True), Item("own_1", name="Horn")]
    set_limits(manager, opened=0, control_items=items)
    shown = [item.word for item in limits_in_force(workshop.organisation).items(CONTROL)]
    assert shown[:2] == ["Hand control", "Horn"]
    assert "Stop lamps" not in shown
    stored = recorded(workshop, control_check={"own_1": "bad", "drivers_lever": "good"})
    (finding,) = [each for each in stored.result["findings"] if each["code"] == "control_item_bad"]
    assert finding["params"] == {"item": "own_1", "item_words": "Horn"}
    assert "stop_lamps" not in stored.inspection.evidence["control_items"]
    set_limits(manager, opened=1, control_items=[Item("own_1", name="Whistle")])
    kept = Inspection.objects.get(pk=stored.inspection.pk).evidence
    assert kept["item_words"] == {"drivers_lever": "Hand control", "own_1": "Horn"}


def test_every_change_is_a_revision_with_its_audit_entry_and_the_same_again_is_none(
    workshop: Workshop, manager: Actor
) -> None:
    first = set_limits(manager, opened=0, limits=LIMITS)
    assert first is not None
    same = set_limits(manager, opened=1, limits=LIMITS)
    assert same == first
    second = set_limits(manager, opened=1, temperature_bounds_c={"measured": Decimal("6.5")})
    assert second is not None
    assert (second.number, second.limits, second.temperature_bounds_c) == (2, first.limits, {"measured": "6.5"})
    told = AuditEntry.objects.filter(organisation=workshop.organisation, action="set_limits")
    assert [(entry.after or {})["number"] for entry in told.order_by("sequence")] == [1, 2]


def test_a_change_made_on_an_older_revision_is_refused(workshop: Workshop, manager: Actor) -> None:
    set_limits(manager, opened=0, limits=LIMITS)
    with pytest.raises(Conflict):
        set_limits(manager, opened=0, temperature_bounds_c={})
    assert LimitsRevision.objects.filter(organisation=workshop.organisation).count() == 1


@pytest.mark.parametrize(
    ("change", "path"),
    [
        ({"limits": {"12": {"supply_voltage_low_v": Decimal(0)}}}, ("limits", "12", "supply_voltage_low_v")),
        ({"limits": {"36": {"supply_voltage_low_v": Decimal(30)}}}, ("limits", "36", "supply_voltage_low_v")),
        ({"limits": {"12": {"smell": Decimal(1)}}}, ("limits", "12", "smell")),
        (
            {"limits": {"12": {"charging_low_v": Decimal(15), "charging_high_v": Decimal(14)}}},
            ("limits", "12", "charging_high_v"),
        ),
        ({"temperature_bounds_c": {"guessed": Decimal(3)}}, ("temperature_bounds_c", "guessed")),
        ({"temperature_bounds_c": {"parked": Decimal(0)}}, ("temperature_bounds_c", "parked")),
        ({"control_items": [Item("own_1", name="Stop lamps"), Item("stop_lamps")]}, ("control_items", 0)),
        ({"mechanical_items": [Item("own_1", name="x" * 61)]}, ("mechanical_items", 0)),
    ],
)
def test_what_is_no_limit_is_refused_at_its_place(
    manager: Actor, change: dict[str, Any], path: tuple[Any, ...]
) -> None:
    with pytest.raises(Refused) as refused:
        set_limits(manager, opened=0, **change)
    assert refused.value.faults[0].path == path


def test_only_managers_set_limits_and_the_rule(workshop: Workshop) -> None:
    technician = builders.actor(workshop.organisation)
    with pytest.raises(NotAllowed):
        set_limits(technician, opened=0, limits=LIMITS)
    with pytest.raises(NotAllowed):
        set_rule(technician, decision_rule="simple", max_false_accept_probability=None, calibration_required=True)


def test_the_rule_is_set_with_what_goes_with_it_and_audited(workshop: Workshop, manager: Actor) -> None:
    with pytest.raises(Refused, match="here: none with max_false_accept"):
        set_rule(
            manager, decision_rule="max_false_accept", max_false_accept_probability=None, calibration_required=False
        )
    with pytest.raises(Refused, match=r"here: 0\.05 with simple"):
        set_rule(manager, decision_rule="simple", max_false_accept_probability=0.05, calibration_required=False)
    set_rule(manager, decision_rule="max_false_accept", max_false_accept_probability=0.05, calibration_required=True)
    workshop.organisation.refresh_from_db()
    assert workshop.organisation.calibration_required
    entry = AuditEntry.objects.get(organisation=workshop.organisation, action="set_rule")
    rules = [(side or {})["decision_rule"] for side in (entry.before, entry.after)]
    assert rules == ["guarded", "max_false_accept"]


def test_the_air_gap_is_held_against_its_types_limits_from_the_revision_on(workshop: Workshop, manager: Actor) -> None:
    gap = [{"code": "air_gap", "values": [1.2, 1.9, 1.3, 1.2]}]
    assert recorded(workshop, mechanical_survey=gap).result["apart"]["mechanical"] == "not_checked"
    kind = workshop.installation.retarder.retarder_type
    limits = {"air_gap": {"lower_limit": Decimal("1.0"), "upper_limit": Decimal("1.6")}}
    state_survey_limits(manager, kind, limits, reason="maker's instructions")
    judged = recorded(workshop, "2026-03-03T09:30:00Z", mechanical_survey=gap)
    assert judged.result["apart"]["mechanical"] == "bad"
    assert judged.result["verdict"] == "fail"
    assert judged.inspection.evidence["mechanical_survey"][0]["upper_limit"] == "1.6"
    revisions = RatingRevision.objects.filter(retarder_type=kind).order_by("number")
    assert [each.rated_currents_a for each in revisions] == [[35.5] * 4] * 2
    with pytest.raises(Refused):
        state_survey_limits(
            manager, kind, {"air_gap": {"lower_limit": Decimal(2), "upper_limit": Decimal(1)}}, reason="x"
        )


def test_the_alternators_rating_goes_with_the_battery(workshop: Workshop) -> None:
    workshop.installation.vehicle.alternator_rated_a = 90.0
    workshop.installation.vehicle.save()
    battery = {"at_rest_v": 12.7, "all_stages_on_v": 12.4, "after_10_s_v": 12.3}
    result = recorded(workshop, stage_readings=cumulative(), battery=battery).result
    assert "alternator_too_small" in [finding["code"] for finding in result["findings"]]


def test_a_temperature_that_a_rating_does_not_state_is_assumed_and_said_so(workshop: Workshop) -> None:
    kind = builders.retarder_type(workshop.organisation, reference_temperature_assumed=True)
    unit = builders.installation(workshop.organisation, retarder_type=kind)
    other = Workshop(workshop.organisation, unit, workshop.ammeter, workshop.voltmeter)
    codes = [finding["code"] for finding in recorded(other).result["findings"]]
    assert "reference_temperature_assumed" in codes
