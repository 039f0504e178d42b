"""How the organisation judges, through the machines' door: what the page sets, with the same roles and refusals."""

from typing import Any
from uuid import uuid4

import pytest

from accounts.models import AuditEntry
from accounts.roles import Role
from calc.temperature import USUAL_BOUND_C
from inspections.models import Inspection, LimitsRevision
from tests.api.problems import assert_problem, fault_at
from tests.api.writing import read, sent
from tests.builders import Workshop, inspection_document
from tests.conftest import Api

LIMITS = {"12": {"supply_voltage_low_v": 12.5, "cable_drop_v": 0.5}, "24": {"supply_voltage_low_v": 25.0}}


@pytest.fixture
def manager(workshop: Workshop) -> Api:
    return Api(workshop.organisation, Role.MANAGER)


def changed(api: Api, change: dict[str, Any], *, seen: str | None = None) -> Any:
    """Change what was seen just now."""
    return sent(api, "patch", "rules/", change, if_match=seen or read(api, "rules/")["ETag"])


def test_a_book_that_set_nothing_says_what_it_judges_by(manager: Api) -> None:
    rules = manager.get("rules/").json()
    assert (rules["decision_rule"], rules["calibration_required"], rules["revision"]) == ("guarded", False, 0)
    assert rules["built_in_temperature_bounds_c"] == USUAL_BOUND_C
    assert (rules["temperature_bounds_c"], rules["limits"]) == ({}, {})
    assert rules["control_items"][0] == {
        "code": "drivers_lever",
        "name": "",
        "words": "Driver's lever",
        "hidden": False,
    }
    assert manager.get("limits-revisions/").json()["results"] == []


def test_what_is_sent_is_changed_for_checks_to_come_and_the_rest_stays(manager: Api, workshop: Workshop) -> None:
    answer = changed(manager, {"limits": LIMITS, "temperature_bounds_c": {"parked": 4.5}})
    assert answer.status_code == 200, answer.content
    assert (answer.json()["limits"], answer.json()["temperature_bounds_c"]) == (LIMITS, {"parked": 4.5})
    policy = changed(manager, {"calibration_required": True}).json()
    assert (policy["calibration_required"], policy["revision"], policy["limits"]) == (True, 1, LIMITS)
    document = inspection_document(workshop)
    assert manager.post("inspections/", document).json()["verdict"] == "undetermined"
    assert Inspection.objects.get(uuid=document["id"]).evidence["limits_revision"] == 1
    (revision,) = manager.get("limits-revisions/").json()["results"]
    assert (revision["revision"], revision["entered_by"]) == (1, manager.member.user.username)
    assert manager.get(f"limits-revisions/{revision['id']}/").json() == revision
    deeds = AuditEntry.objects.filter(organisation=workshop.organisation).values_list("action", flat=True)
    assert {"set_limits", "set_rule"} <= set(deeds)


def test_the_rule_goes_with_its_probability(manager: Api) -> None:
    rule = {"decision_rule": "max_false_accept", "max_false_accept_probability": 0.05}
    assert rule.items() <= changed(manager, rule).json().items()
    other = changed(manager, {"decision_rule": "simple"}).json()
    assert (other["decision_rule"], other["max_false_accept_probability"]) == ("simple", None)
    fault_at(changed(manager, {"decision_rule": "max_false_accept"}), "#/max_false_accept_probability")


def test_an_item_is_renamed_hidden_and_added_and_never_dropped(manager: Api) -> None:
    items = [
        {"code": item["code"], "hidden": item["code"] == "stop_lamps"}
        for item in manager.get("rules/").json()["control_items"]
    ]
    items[0]["name"] = "Hand control"
    answer = changed(manager, {"control_items": [*items, {"name": "Horn"}], "mechanical_items": _mechanical(manager)})
    assert answer.status_code == 200, answer.content
    rules = answer.json()
    assert rules["control_items"][0]["words"] == "Hand control"
    assert [item["code"] for item in rules["control_items"] if item["hidden"]] == ["stop_lamps"]
    assert (rules["control_items"][-1]["code"], rules["mechanical_items"][-1]["code"]) == ("own_1", "own_2")
    fault_at(changed(manager, {"control_items": items}), "#/control_items")
    fault_at(changed(manager, {"control_items": [*items, {"code": "own_7"}]}), f"#/control_items/{len(items)}/code")


@pytest.mark.parametrize("name", ["", "   "])
def test_an_item_of_ones_own_keeps_a_name(manager: Api, name: str) -> None:
    built_in = [{"code": item["code"]} for item in manager.get("rules/").json()["control_items"]]
    changed(manager, {"control_items": [*built_in, {"name": "Horn"}]})
    nameless = [*built_in, {"code": "own_1", "name": name}]
    fault_at(changed(manager, {"control_items": nameless}), f"#/control_items/{len(built_in)}/name")
    assert manager.get("rules/").json()["control_items"][-1]["name"] == "Horn"


def test_the_limits_of_a_system_that_is_not_named_stay(manager: Api) -> None:
    changed(manager, {"limits": LIMITS})
    new = {"charging_low_v": 26.5}
    assert changed(manager, {"limits": {"24": new}}).json()["limits"] == LIMITS | {"24": new}
    assert changed(manager, {"limits": {}}).json()["revision"] == 2
    assert changed(manager, {"limits": {"12": {}}}).json()["limits"] == {"24": new}


def _mechanical(api: Api) -> list[dict[str, Any]]:
    return [*({"code": item["code"]} for item in api.get("rules/").json()["mechanical_items"]), {"name": "Guard"}]


@pytest.mark.parametrize(
    ("change", "place"),
    [
        ({"decision_rule": "lenient"}, "#/decision_rule"),
        ({"max_false_accept_probability": 0.05}, "#/max_false_accept_probability"),
        ({"calibration_required": "yes"}, "#/calibration_required"),
        ({"temperature_bounds_c": {"parked": 0}}, "#/temperature_bounds_c/parked"),
        ({"temperature_bounds_c": {"parked": "warm"}}, "#/temperature_bounds_c/parked"),
        ({"limits": {"24": {"cable_drop_v": -1}}}, "#/limits/24/cable_drop_v"),
        ({"limits": {"12": {"charging_low_v": 15, "charging_high_v": 14}}}, "#/limits/12/charging_high_v"),
        ({"control_items": [{"code": "Horn!"}]}, "#/control_items/0/code"),
    ],
)
def test_what_cannot_be_is_refused_at_its_place_and_nothing_is_kept(
    manager: Api, workshop: Workshop, change: dict[str, Any], place: str
) -> None:
    before = read(manager, "rules/").content
    fault_at(changed(manager, {"calibration_required": True, "limits": LIMITS} | change), place)
    assert read(manager, "rules/").content == before
    assert not LimitsRevision.objects.filter(organisation=workshop.organisation).exists()


def test_a_change_names_what_it_changes(manager: Api) -> None:
    seen = read(manager, "rules/")["ETag"]
    assert_problem(sent(manager, "patch", "rules/", {"limits": LIMITS}), 428)
    first = changed(manager, {"limits": LIMITS}, seen=seen)
    assert first["ETag"] == read(manager, "rules/")["ETag"] != seen
    assert_problem(changed(manager, {"limits": {}}, seen=seen), 412)


@pytest.mark.parametrize("role", [Role.VIEWER, Role.TRAINEE, Role.TECHNICIAN])
def test_who_may_not_manage_reads_and_changes_nothing(workshop: Workshop, role: Role) -> None:
    api = Api(workshop.organisation, role)
    assert_problem(changed(api, {"limits": LIMITS}), 403)
    kind = workshop.installation.retarder.retarder_type
    assert_problem(api.post(f"retarder-types/{kind.uuid}/survey-limits/", SURVEY), 403)
    assert api.get(f"retarder-types/{kind.uuid}/").status_code == 200


SURVEY = {"survey_limits": {"air_gap": {"lower_limit": 1.0, "upper_limit": 1.6}}, "reason": "maker's instructions"}


def test_the_surveys_limits_of_a_type_are_a_revision_of_its_rating(manager: Api, workshop: Workshop) -> None:
    kind = workshop.installation.retarder.retarder_type
    (row,) = manager.get("retarder-types/", designation=kind.designation).json()["results"]
    assert (row["id"], row["rating"]["revision"], row["rating"]["survey_limits"]) == (str(kind.uuid), 1, {})
    for _time in range(2):
        answer = manager.post(f"retarder-types/{kind.uuid}/survey-limits/", SURVEY)
        assert answer.status_code == 200, answer.content
        rating = answer.json()["rating"]
        assert (rating["revision"], rating["survey_limits"]) == (2, SURVEY["survey_limits"])
    turned = SURVEY | {"survey_limits": {"air_gap": {"lower_limit": 1.7, "upper_limit": 1.6}}}
    place = "#/survey_limits/air_gap/upper_limit"
    fault_at(manager.post(f"retarder-types/{kind.uuid}/survey-limits/", turned), place)
    assert manager.post(f"retarder-types/{uuid4()}/survey-limits/", SURVEY).status_code == 404
