"""The whole record of one inspection: readings as typed, what it rests on, who judged and signed, and the audit entries
from which an outsider can work the hashes out again."""

import datetime as dt
from typing import Any
from uuid import UUID, uuid4

from pytest_django import DjangoAssertNumQueries

from accounts.actors import member_actor
from accounts.audit import chain_hash
from accounts.models import Member
from accounts.roles import Role
from fleet.models import RatingRevision
from fleet.services import revise_rating
from inspections.models import Inspection
from inspections.services.calibrations import record_calibration
from inspections.services.rejudging import Terms
from inspections.services.rejudging_runs import judge_anew_at_once
from tests import builders
from tests.conftest import Api

FIGURES = {
    "reference_voltage_v": 14.0,
    "reference_voltage_basis": "stated",
    "tolerance_lower_percent": 10.0,
    "tolerance_upper_percent": 10.0,
    "system_voltage_v": 12,
    "coils_in_series": 2,
    "coils_in_parallel": 2,
    "sources": {"rated_currents_a": "plate (test)"},
}


def posted(api: Api, workshop: builders.Workshop, **fields: Any) -> str:
    document = builders.inspection_document(workshop, **fields)
    assert api.post("inspections/", document).status_code == 201
    return str(document["id"])


def record_of(api: Api, inspection: str) -> dict[str, Any]:
    answer = api.get(f"inspections/{inspection}/record/")
    assert answer.status_code == 200
    found: dict[str, Any] = answer.json()
    return found


def test_it_holds_the_readings_as_typed_and_what_they_rest_on(api: Api, workshop: builders.Workshop) -> None:
    manager = member_actor(builders.member(workshop.organisation, Role.MANAGER), source="test")
    for on, certificate in ((dt.date(2026, 1, 5), "K 1"), (dt.date(2026, 6, 1), "K 2")):
        record_calibration(
            manager, workshop.ammeter, performed_on=on, due_on=on.replace(year=2027), certificate=certificate
        )
    readings = builders.single_pass()
    inspection = posted(api, workshop, stage_readings=readings)
    record = record_of(api, inspection)
    assert [reading["current_a"] for reading in record["evidence"]["stage_readings"]] == ["36.3"] * 4
    assert record["calibrations"]["ammeter"]["certificate"] == "K 1"
    assert record["calibrations"]["voltmeter"] is None
    assert (record["rating"]["revision"], record["rating"]["sources"]) == (1, {"rated_currents_a": "plate (test)"})
    assert (record["decision_rule"], record["inspection"]["id"]) == ("guarded", inspection)
    assert record["content_hash"] == Inspection.objects.get(uuid=inspection).content_hash
    assert record["signature"]["signed_by"] == api.member.user.username
    assert record["signature"]["meaning"]
    assert (record["supersedes"], record["superseded_by"]) == (None, None)


def test_every_judgement_stands_in_it_with_its_rating_method_and_reason(api: Api, workshop: builders.Workshop) -> None:
    inspection = posted(api, workshop)
    manager = member_actor(builders.member(workshop.organisation, Role.MANAGER), source="test")
    kind = workshop.installation.retarder.retarder_type
    revise_rating(manager, kind, reason="plate read again", rated_currents_a=[30.0] * 4, **FIGURES)
    judge_anew_at_once(manager, selection={}, terms=Terms("new rating"))
    record = record_of(api, inspection)
    told = [(each["number"], each["reason"], each["rating"]["revision"]) for each in record["judgements"]]
    assert told == [(1, "", 1), (2, "new rating", 2)]
    assert all(each["method_version"] for each in record["judgements"])
    assert record["judgements"][1]["judged_by"] == Member.objects.get(user=manager.user).user.username
    assert record["judgements"][1]["rating"]["reason"] == "plate read again"
    assert RatingRevision.objects.count() == 2


def test_a_replacement_is_told_on_both_sides_with_its_reason(api: Api, workshop: builders.Workshop) -> None:
    old = posted(api, workshop)
    new = posted(api, workshop, supersedes=old, supersede_reason="mistyped")
    assert record_of(api, old)["superseded_by"] == {"id": new, "reason": "mistyped"}
    assert record_of(api, new)["supersedes"] == {"id": old, "reason": "mistyped"}


def test_an_unsigned_one_has_no_signature_and_replaces_nothing_yet(api: Api, workshop: builders.Workshop) -> None:
    old = posted(api, workshop)
    new = posted(api, workshop, supersedes=old, supersede_reason="mistyped", sign=False)
    record = record_of(api, new)
    assert (record["signature"], record["supersedes"]) == (None, None)


def test_an_outsider_works_the_audit_hashes_out_again(api: Api, workshop: builders.Workshop) -> None:
    inspection = posted(api, workshop)
    reading = {"id": str(uuid4()), "kind": "output_voltage", "stage": 2, "value": 13.10, "energised": [2]}
    assert api.post(f"inspections/{inspection}/extra-readings/", reading).status_code == 201
    record = record_of(api, inspection)
    entries = record["audit_entries"]
    kinds = [(entry["record"]["object_type"], entry["action"]) for entry in entries]
    assert kinds == [("inspection", "record"), ("judgement", "judge"), ("extra_reading", "record")]
    assert {entry["actor"] for entry in entries} == {api.member.user.username}
    told = record_of(Api(workshop.organisation, Role.MANAGER), inspection)["audit_entries"]
    assert [entry["sequence"] for entry in told] == [entry["sequence"] for entry in entries]
    for entry in told:
        assert chain_hash(entry["previous_hash"], entry["record"]) == entry["hash"]
    (added,) = record["extra_readings"]
    assert (added["value"], UUID(added["id"])) == ("13.1", UUID(str(reading["id"])))


def test_the_token_behind_a_deed_is_told_and_the_address_to_who_manages_the_book(
    api: Api, workshop: builders.Workshop
) -> None:
    inspection = posted(api, workshop)
    for role in Role:
        told = record_of(Api(workshop.organisation, role), inspection)["audit_entries"][0]
        entry = told["record"]
        assert (entry["source"], entry["token"]) == ("api", "test")
        manages = role in (Role.MANAGER, Role.ADMINISTRATOR)
        withheld = [entry.get("request_id"), told["hash"], told["previous_hash"]]
        assert [bool(each) for each in withheld] == [manages] * 3, role
        assert entry.get("address") == ("127.0.0.1" if manages else None), role


def test_it_costs_the_same_however_much_there_is(
    api: Api, workshop: builders.Workshop, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    few, many = posted(api, workshop), posted(api, workshop)
    for stage in (1, 2, 3, 4):
        reading = {"id": str(uuid4()), "kind": "output_voltage", "stage": stage, "value": 13.1, "energised": [stage]}
        assert api.post(f"inspections/{many}/extra-readings/", reading).status_code == 201
    with django_assert_num_queries(queries_of(api, few)):
        record_of(api, many)


def queries_of(api: Api, inspection: str) -> int:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as counted:
        record_of(api, inspection)
    return len(counted)
