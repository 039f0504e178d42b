"""Rules and limits: managers set them, members read them, and they hold for the checks to come."""

from typing import Any

import pytest

from accounts.roles import Role
from inspections.limits import limits_in_force
from inspections.models import LimitsRevision
from inspections.survey_items import CONTROL
from tests.builders import Workshop
from tests.dashboard.taking import Taker

RULE = {"decision_rule": "guarded", "max_false_accept_probability": "", "calibration": "marked"}


@pytest.fixture
def manager(workshop: Workshop) -> Taker:
    return Taker(workshop, Role.MANAGER)


def typed(page: Any, **changes: str) -> dict[str, str]:
    """Return what the page's form holds, with changes."""
    form = page.context["form"]
    held = {field.name: field.value() for field in form}
    return {
        name: str(value) for name, value in held.items() if value not in (None, "") and value is not False
    } | changes


def test_bounds_and_limits_are_kept_as_typed_and_shown_again(manager: Taker, workshop: Workshop) -> None:
    sent = {"opened": "0", **RULE, "bound_parked": "4,5", "limit_12_supply_voltage_low_v": "12.50"}
    assert manager.post("rules/", **sent).status_code == 302
    own = limits_in_force(workshop.organisation)
    assert (own.bounds_c(), own.limits) == ({"parked": 4.5}, {"12": {"supply_voltage_low_v": "12.50"}})
    html = manager.get("rules/").content.decode()
    assert 'value="12.50"' in html
    assert "Revision 1" in html
    conditions = manager.start().get(manager.at).content.decode()
    assert "parked ten hours ± 4.5, less ± 15, measured ± 5" in conditions


def test_the_rule_and_the_policy_are_set_on_the_same_page(manager: Taker, workshop: Workshop) -> None:
    rule = {"decision_rule": "max_false_accept", "max_false_accept_probability": "0,05", "calibration": "withheld"}
    assert manager.post("rules/", opened="0", **rule).status_code == 302
    workshop.organisation.refresh_from_db()
    assert (workshop.organisation.decision_rule, workshop.organisation.calibration_required) == (
        "max_false_accept",
        True,
    )
    assert not LimitsRevision.objects.exists()


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"max_false_accept_probability": "0.05"}, "max_false_accept_probability"),
        ({"decision_rule": "max_false_accept"}, "max_false_accept_probability"),
        ({"bound_parked": "0"}, "bound_parked"),
        ({"bound_parked": "warm"}, "bound_parked"),
        ({"limit_24_cable_drop_v": "-1"}, "limit_24_cable_drop_v"),
        ({"limit_12_charging_low_v": "15", "limit_12_charging_high_v": "14"}, "__all__"),
        ({"opened": "7"}, "__all__"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field_and_nothing_is_kept(
    manager: Taker, workshop: Workshop, changed: dict[str, str], field: str
) -> None:
    answer = manager.post("rules/", **({"opened": "0", "limit_12_cable_drop_v": "0.5", **RULE} | changed))
    assert list(answer.context["form"].errors) == [field]
    assert not LimitsRevision.objects.exists()
    workshop.organisation.refresh_from_db()
    assert workshop.organisation.decision_rule == "guarded"


@pytest.mark.parametrize("page", ["rules/", "rules/lists/"])
def test_a_technician_reads_and_changes_nothing(workshop: Workshop, page: str) -> None:
    technician = Taker(workshop)
    assert "A manager changes them." in technician.get(page).content.decode()
    assert technician.post(page, opened="0", **RULE).status_code == 403


def test_an_item_is_renamed_hidden_and_added(manager: Taker, workshop: Workshop) -> None:
    page = manager.get("rules/lists/")
    changed = typed(page, control_name_drivers_lever="Hand control", control_new="Horn")
    del changed["control_shown_stop_lamps"]
    assert manager.post("rules/lists/", **changed).status_code == 302
    words = [item.word for item in limits_in_force(workshop.organisation).items(CONTROL)]
    assert (words[0], words[-1], "Stop lamps" in words, len(words)) == ("Hand control", "Horn", False, 8)
    again = typed(manager.get("rules/lists/"), mechanical_new="Guard", control_new="Buzzer")
    told = manager.post("rules/lists/", **again)
    assert told.status_code == 302, told.context["form"].errors
    own = limits_in_force(workshop.organisation)
    assert [item.code for item in own.control_items[-2:]] == ["own_1", "own_2"]
    assert own.mechanical_items[-1].code == "own_3"
    twice = typed(manager.get("rules/lists/"), control_new="horn")
    assert "stands twice" in manager.post("rules/lists/", **twice).content.decode()


def test_the_limits_of_a_types_air_gap_are_set_from_its_rating(manager: Taker, workshop: Workshop) -> None:
    kind = workshop.installation.retarder.retarder_type
    assert "Limits of the mechanical survey" in manager.get("ratings/").content.decode()
    address = f"ratings/{kind.uuid}/survey-limits/"
    sent = {"air_gap_lower_limit": "1,0", "air_gap_upper_limit": "1.6", "reason": "maker's instructions"}
    turned = manager.post(address, **(sent | {"air_gap_upper_limit": "0.9"}))
    assert list(turned.context["form"].errors) == ["air_gap_upper_limit"]
    assert manager.post(address, **sent).status_code == 302
    assert "Air gap 1 to 1.6 mm" in manager.get("ratings/").content.decode()
    assert 'value="1.6"' in manager.get(address).content.decode()
    assert Taker(workshop).get(address).status_code == 403
