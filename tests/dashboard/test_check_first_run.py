"""From the demo to a book of one's own with its first check, and the end of the demo."""

from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from accounts.actors import member_actor
from accounts.models import Member, Organisation, User
from accounts.queries import memberships_of, slugs_that_begin_with
from accounts.roles import Role
from fleet.models import Installation, RatingRevision
from inspections.models import Inspection, Meter
from inspections.services.limits import set_limits
from schedules.models import CheckPlan
from tests import builders
from tests.naming import name

PLATE = {
    "rated_currents_a": "35.5",
    "reference_voltage_v": "14",
    "reference_temperature_c": "20",
    "tolerance_percent": "10",
    "system_voltage_v": "12",
    "clamp_percent": "2",
    "clamp_counts": "5",
    "clamp_resolution": "0.1",
    "voltmeter_percent": "0,5",
    "voltmeter_counts": "2",
    "voltmeter_resolution": "0.01",
    "coil_temperature_method": "parked",
    "coil_temperature_c": "18",
} | {f"{kind}_{stage}": value for stage in range(1, 5) for kind, value in (("volts", "14.0"), ("amps", "36,3"))}
NAMES = {
    "fleet_number": "Tipper 7",
    "registration": "",
    "serial_number": "0042",
    "type_designation": "Hornbeam, 4 stages, 12 V",
    "rating_source": "Plate",
    "clamp_designation": "Clamp 1",
    "voltmeter_designation": "Voltmeter 1",
    "months": "6",
    "depot_name": "Yard",
    "time_zone": "Europe/London",
}
ID = "0199f000-0000-7000-8000-000000000001"


@pytest.fixture
def demo(db: None) -> Organisation:
    return builders.organisation(is_demo=True)


@pytest.fixture
def owner(db: None) -> Member:
    return builders.member(builders.organisation(), Role.ADMINISTRATOR)


def signed_in(member: Member) -> Client:
    client = Client()
    client.force_login(member.user)
    return client


def page(name: str, member: Member) -> str:
    return reverse(f"dashboard:{name}", kwargs={"organisation": member.organisation.slug})


def first_check(owner: Member, **fields: Any) -> Any:
    return signed_in(owner).post(page("first-check", owner), {"check_id": ID, **PLATE, **fields})


def test_a_book_of_ones_own_begins_with_its_administrator_signed_in(demo: Organisation) -> None:
    client = signed_in(builders.member(demo, Role.VIEWER))
    address = f"/{demo.slug}/own-book/"
    answer = client.post(address, {"name": "Ridge Haulage", "username": "mo", "password": "uphill both ways"})
    assert answer["Location"] == "/ridge-haulage/first-check/"
    assert client.get(answer["Location"]).status_code == 200
    (member,) = memberships_of(User.objects.get(username="mo"))
    assert (member.organisation.name, member.role) == ("Ridge Haulage", Role.ADMINISTRATOR)


@pytest.mark.parametrize(
    ("field", "value"), [("password", "short"), ("username", "taken"), ("username", "no spaces"), ("name", "")]
)
def test_what_is_wrong_with_a_new_book_is_said_at_its_field(demo: Organisation, field: str, value: str) -> None:
    member = builders.member(demo)
    type(member.user).objects.create(username="taken")
    typed = {"name": "Ridge Haulage", "username": "mo", "password": "uphill both ways", field: value}
    answer = signed_in(member).post(f"/{demo.slug}/own-book/", typed)
    assert list(answer.context["form"].errors) == [field]
    assert slugs_that_begin_with("ridge") == set()


def test_outside_the_demo_no_book_can_be_started_from_a_page(owner: Member) -> None:
    assert signed_in(owner).get(page("own-book", owner)).status_code == 404
    assert signed_in(owner).post(page("own-book", owner), {}).status_code == 404


def test_two_books_of_one_name_get_two_addresses(demo: Organisation) -> None:
    for username in ("mo", "jo"):
        client = signed_in(builders.member(demo))
        client.post(f"/{demo.slug}/own-book/", {"name": "Ridge", "username": username, "password": "uphill both ways"})
    assert slugs_that_begin_with("ridge") == {"ridge", "ridge-2"}


def test_the_first_check_knows_the_coil_temperature_as_well_as_the_organisation_says(owner: Member) -> None:
    manager = member_actor(owner, source="test")
    set_limits(manager, opened=0, temperature_bounds_c={"parked": Decimal("7.5")})
    assert first_check(owner, file="1", **NAMES).status_code == 302
    name(owner.organisation)
    evidence = Inspection.objects.get(organisation=owner.organisation).evidence
    assert (evidence["coil_temperature_bound_c"], evidence["limits_revision"]) == ("7.5", 1)


def test_of_several_depots_the_one_that_is_chosen_has_the_vehicle(owner: Member) -> None:
    first, second = (builders.depot(owner.organisation) for _number in range(2))
    judged = first_check(owner, judge="1")
    assert judged.context["filing"]["depot"].value() == first.uuid
    elsewhere = builders.depot(builders.organisation())
    name(owner.organisation)
    named = {key: value for key, value in NAMES.items() if key not in ("depot_name", "time_zone")}
    refused = first_check(owner, file="1", **named, depot=str(elsewhere.uuid))
    assert list(refused.context["filing"].errors) == ["depot"]
    assert first_check(owner, file="1", **named, depot=str(second.uuid)).status_code == 302
    name(owner.organisation)
    assert Installation.objects.get(vehicle__fleet_number="Tipper 7").vehicle.depot == second


def test_the_first_check_is_judged_and_nothing_is_stored(owner: Member) -> None:
    answer = first_check(owner, judge="1")
    assert answer.context["result"]["verdict"] == "pass"
    assert "Inside limits" in answer.content.decode()
    assert not Installation.objects.of(owner.organisation).exists()
    assert not Meter.objects.of(owner.organisation).exists()


def test_filing_stores_all_of_it_and_the_verdict_is_the_one_that_was_shown(owner: Member) -> None:
    shown = first_check(owner, judge="1").context["result"]
    answer = first_check(owner, file="1", **NAMES)
    check = Inspection.objects.get()
    assert answer["Location"] == f"/{owner.organisation.slug}/checks/{check.uuid}/"
    kept = check.judgements.get().result["stages"]
    assert [stage["normalised_current_a"] for stage in kept] == [
        stage["normalised_current_a"] for stage in shown["stages"]
    ]
    assert [stage["expanded_uncertainty_a"] for stage in kept] == [
        stage["expanded_uncertainty_a"] for stage in shown["stages"]
    ]
    assert (check.purpose, check.signed_at, str(check.uuid)) == ("first", None, ID)
    assert check.evidence["stage_readings"][0]["current_a"] == "36.3"
    assert RatingRevision.objects.get().sources == {"plate": "Plate"}
    assert CheckPlan.objects.get().months == 6


def test_filing_twice_files_once(owner: Member) -> None:
    first, second = first_check(owner, file="1", **NAMES), first_check(owner, file="1", **NAMES)
    assert first["Location"] == second["Location"]
    assert Inspection.objects.count() == 1


@pytest.mark.parametrize("sent", ["", "x", "a\x00b"])
def test_a_page_that_has_lost_its_id_files_under_a_new_one(owner: Member, sent: str) -> None:
    answer = first_check(owner, file="1", **NAMES | {"check_id": sent})
    assert (answer.status_code, Inspection.objects.count()) == (302, 1)


def test_a_name_that_is_taken_stores_nothing_at_all_and_is_said_at_its_field(owner: Member) -> None:
    builders.vehicle(owner.organisation, fleet_number="Tipper 7", depot=builders.depot(owner.organisation))
    answer = first_check(owner, file="1", **NAMES)
    assert [field for field, _faults in answer.context["filing"].errors.items()] in (["fleet_number"], ["__all__"])
    assert not Meter.objects.of(owner.organisation).exists()
    assert not Inspection.objects.exists()


def test_a_tolerance_that_is_not_printed_is_assumed_and_filed_as_assumed(owner: Member) -> None:
    first_check(owner, file="1", **NAMES, tolerance_percent="")
    revision = RatingRevision.objects.get()
    assert revision.tolerance_assumed
    assert revision.tolerance_lower_percent == 10.0


def test_a_plate_without_a_voltage_gets_no_verdict_and_can_still_be_filed(owner: Member) -> None:
    assert first_check(owner, judge="1", reference_voltage_v="").context["result"]["verdict"] == "undetermined"
    first_check(owner, file="1", **NAMES, reference_voltage_v="")
    assert RatingRevision.objects.get().reference_voltage_basis == "unknown"


def test_stages_may_differ(owner: Member) -> None:
    result = first_check(owner, judge="1", rated_currents_a="35.5 35.5 71 35,5").context["result"]
    assert [stage["verdict"] for stage in result["stages"]] == ["pass", "pass", "fail", "pass"]


def test_a_reversed_clamp_is_said_at_the_stage_it_was_typed_for(owner: Member) -> None:
    answer = first_check(owner, judge="1", amps_3="-36")
    assert list(answer.context["form"].errors) == ["amps_3"]
    assert 'value="-36"' in answer.content.decode()


@pytest.mark.parametrize("role", [Role.VIEWER, Role.TRAINEE, Role.TECHNICIAN])
def test_only_those_who_manage_file_a_first_check(db: None, role: Role) -> None:
    member = builders.member(builders.organisation(), role)
    assert signed_in(member).get(page("first-check", member)).status_code == 403


def test_the_demo_goes_with_one_click_and_its_rows_stay(demo: Organisation, owner: Member) -> None:
    unit = builders.installation(demo)
    signed_in(owner).post(page("close-demo", owner))
    name(demo)
    demo.refresh_from_db()
    assert demo.closed_at is not None
    assert Installation.objects.filter(pk=unit.pk).exists()
    assert signed_in(builders.member(demo)).get(f"/{demo.slug}/check/").status_code == 404


def test_the_demo_is_not_closed_while_it_is_the_only_book(demo: Organisation) -> None:
    Organisation.objects.exclude(pk=demo.pk).update(closed_at="2026-01-01T00:00:00Z")
    signed_in(builders.member(demo, Role.MANAGER)).post(f"/{demo.slug}/close-demo/")
    demo.refresh_from_db()
    assert demo.closed_at is None


@pytest.mark.parametrize("role", [Role.VIEWER, Role.TRAINEE, Role.TECHNICIAN])
def test_who_does_not_manage_does_not_close_the_demo(demo: Organisation, owner: Member, role: Role) -> None:
    signed_in(builders.member(demo, role)).post(f"/{demo.slug}/close-demo/")
    signed_in(builders.member(owner.organisation, role)).post(page("close-demo", owner))
    name(demo)
    demo.refresh_from_db()
    assert demo.closed_at is None
