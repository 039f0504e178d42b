"""A unit whose type is not identified, on the pages: put on file, checked, held against the types, identified."""

import html
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from accounts.roles import Role
from fleet.models import Installation
from inspections.models import Inspection, Judgement
from inspections.services.identifying import file_unidentified_unit
from tests import builders
from tests.builders import Workshop
from tests.dashboard.taking import Taker
from tests.dashboard.test_check_first_run import ID, NAMES, PLATE, page, signed_in
from tests.inspections.visits import recorded

COUNTED = {"coils_counted": "8", "leads_counted": "5", "air_gap_mm": "1,4", "note": "Red paint, ribbed cover."}
ON_THE_PLATE = ("rated_currents_a", "reference_voltage_v", "reference_temperature_c", "tolerance_percent")


@pytest.fixture
def unit(workshop: Workshop) -> Workshop:
    """Return the workshop with a unit nobody knows the type of."""
    fitted = file_unidentified_unit(
        builders.actor(workshop.organisation, Role.MANAGER),
        vehicle=builders.vehicle(workshop.organisation).uuid,
        serial_number="red paint",
        fitted_on=builders.FITTED_ON,
        stages=4,
        coils_counted=8,
        air_gap_mm=1.4,
    )
    return Workshop(workshop.organisation, fitted, workshop.ammeter, workshop.voltmeter)


def words(answer: Any) -> str:
    assert answer.status_code == 200, answer.content
    return html.unescape(" ".join(answer.content.decode().split()))


def taker(of: Workshop, role: Role = Role.MANAGER) -> Taker:
    return Taker(of, role)


def type_page(of: Workshop) -> str:
    return f"units/{of.installation.uuid}/type/"


def first_check(of: Any, **fields: Any) -> Any:
    counted = {name: value for name, value in PLATE.items() if name not in ON_THE_PLATE} | COUNTED
    address = page("first-check", of) + "?stages=4&type=not-identified"
    return signed_in(of).post(address, {"check_id": ID, **counted, **fields})


def test_the_first_check_asks_what_can_be_counted_where_there_is_no_plate(db: None) -> None:
    owner = builders.member(builders.organisation(), Role.ADMINISTRATOR)
    asked = words(signed_in(owner).get(page("first-check", owner)))
    assert "No plate that can be read: type not identified" in asked
    asked = words(signed_in(owner).get(page("first-check", owner) + "?stages=3&type=not-identified"))
    assert "Coils counted" in asked
    assert "Rated amps" not in asked
    assert "?stages=4&type=not-identified" in asked


def test_it_is_judged_without_a_verdict_and_filed_with_what_was_counted(db: None) -> None:
    owner = builders.member(builders.organisation(), Role.ADMINISTRATOR)
    judged = words(first_check(owner, judge="1"))
    assert "No verdict" in judged
    assert judged.count("The type of the unit is not identified, so its amps are held against no limits") == 1
    assert "The stages draw alike" in judged
    assert "or a mark of your own for it" in judged
    assert not Installation.objects.of(owner.organisation).exists()
    named = {key: value for key, value in NAMES.items() if key not in ("type_designation", "rating_source")}
    assert first_check(owner, file="1", **named).status_code == 302
    kind = Installation.objects.of(owner.organisation).get().retarder.retarder_type
    assert (kind.identified, kind.stages, kind.coils_counted, kind.leads_counted, kind.air_gap_mm, kind.note) == (
        False,
        4,
        8,
        5,
        1.4,
        "Red paint, ribbed cover.",
    )
    assert kind.revisions.get().rated_currents_a == [None] * 4


def test_what_the_first_check_finds_is_marked_as_on_the_result(db: None) -> None:
    owner = builders.member(builders.organisation(), Role.ADMINISTRATOR)
    judged = words(first_check(owner, judge="1", amps_3="30"))
    assert "<li><strong>Caution:</strong> Stage 3: The stage is" in judged
    judged = words(first_check(owner, judge="1", amps_3="0"))
    assert "<li><strong>Defect:</strong> Stage 3: Switched on, the stage draws" in judged


def test_the_form_offers_no_type_of_other_volts(unit: Workshop) -> None:
    of_24_v = builders.retarder_type(unit.organisation, system_voltage_v=24)
    asked = words(taker(unit).get(type_page(unit)))
    assert str(of_24_v.uuid) not in asked
    sent = taker(unit).client.post(
        taker(unit).address(type_page(unit)), {"retarder_type": str(of_24_v.uuid), "reason": "By the plate."}
    )
    assert list(sent.context["form"].errors) == ["retarder_type"]


def test_a_mark_that_is_taken_is_said_at_its_field(db: None) -> None:
    owner = builders.member(builders.organisation(), Role.ADMINISTRATOR)
    named = {key: value for key, value in NAMES.items() if key not in ("type_designation", "rating_source")}
    first_check(owner, file="1", **named)
    again = named | {"fleet_number": "Tipper 8", "check_id": ID.replace("f000", "f001")}
    assert list(first_check(owner, file="1", **again).context["filing"].errors) == ["serial_number"]


def test_the_vehicle_says_so_and_leads_to_the_types(unit: Workshop) -> None:
    somebody = taker(unit, Role.VIEWER)
    told = words(somebody.get(f"vehicles/{unit.installation.vehicle.uuid}/"))
    assert "Type not identified" in told
    assert "<dt>Coils counted</dt><dd>8</dd>" in told
    assert "<dt>Leads counted</dt><dd>not counted</dd>" in told
    assert "1.4 mm" in told
    assert f'href="{somebody.address(type_page(unit))}"' in told


def test_the_check_on_the_phone_expects_nothing_first_and_its_own_history_then(unit: Workshop) -> None:
    technician = taker(unit, Role.TECHNICIAN)
    technician.ready()
    assert "there is no earlier check to compare with" in words(technician.get(technician.draft("clear/")))
    look = technician.client.post(
        technician.address(technician.at + "look/"), {"supply_voltage_v": "14", "current_a": "70"}
    )
    assert "What it should draw is not known: the type is not identified." in words(look)
    assert "Stop. Everything off." not in words(look)
    technician.read()
    look = technician.client.post(
        technician.address(technician.at + "look/"), {"supply_voltage_v": "14", "current_a": "36"}
    )
    assert "By its other stages about 36.3 A at 14.00 V." in words(look)
    technician.read(current_a="70")
    assert "70 A, where 36.3 A was expected: more than 130 %." in words(technician.get(technician.at))
    technician.at = technician.draft("reading/2/")
    for _stage in range(3):
        technician.read()
    technician.stored()
    technician.ready()
    clear = words(technician.get(technician.draft("clear/")))
    assert "No: this unit's rating gives no limits to judge by." in clear
    assert "What this unit drew at its first checks" in clear
    assert "36.3 A" in clear
    address = technician.address(technician.at + "look/")
    look = technician.client.post(address, {"supply_voltage_v": "14", "current_a": "36.3"})
    assert "By its own earlier checks about 36.3 A at 14.00 V." in words(look)
    look = technician.client.post(address, {"supply_voltage_v": "14", "current_a": "48"})
    assert "48 A, where 36.3 A was expected: more than 130 %." in words(look)


def test_the_result_says_no_verdict_and_what_balance_and_history_say(unit: Workshop) -> None:
    recorded(unit, "2026-01-02T09:30:00Z")
    readings = builders.single_pass()
    readings[2]["current_a"] = 30.0
    check = recorded(unit, stage_readings=readings).inspection
    told = words(taker(unit).get(f"checks/{check.uuid}/"))
    assert "No verdict</span></span>: type not identified</h1>" in told
    assert "Stop and find the fault." in told
    assert "Find out the type: until then nothing says whether the amps are right." not in told
    assert "<strong>Caution:</strong> Stage 3: The stage is -13.61 % ± 1.45 % off the mean of the stages" in told
    assert "Stage 3: At equal volts and temperature the stage draws -17.36 % ± 5.61 % against its own" in told
    assert "Braking torque" not in told


def test_a_stage_that_draws_nothing_fails_the_unit_whatever_its_type(unit: Workshop) -> None:
    readings = builders.single_pass()
    readings[2]["current_a"] = 0.0
    check = recorded(unit, stage_readings=readings).inspection
    told = words(taker(unit).get(f"checks/{check.uuid}/"))
    assert "Stage 3: Switched on, the stage draws, with all doubt, less than 10 % of what the others draw" in told
    assert "type not identified</h1>" not in told


def test_a_stage_that_lost_most_of_its_current_is_marked_a_defect(unit: Workshop) -> None:
    recorded(unit, "2026-01-02T09:30:00Z")
    readings = builders.single_pass()
    readings[2]["current_a"] = 14.0
    told = words(taker(unit).get(f"checks/{recorded(unit, stage_readings=readings).inspection.uuid}/"))
    assert "<strong>Defect:</strong> Stage 3: At equal volts and temperature the stage draws" in told
    assert "Stage 3: draws far from what it drew at first" in words(taker(unit).get("defects/"))


def test_the_record_says_that_no_amps_are_known_instead_of_dashes(unit: Workshop) -> None:
    told = words(taker(unit).get(f"checks/{recorded(unit).inspection.uuid}/record/"))
    assert "<dd>type not identified: no amps are known</dd>" in told
    assert "Held against itself" in told
    assert "The stages draw alike" in told


def test_every_page_about_it_opens(unit: Workshop) -> None:
    somebody = taker(unit)
    check = recorded(unit).inspection
    recorded(unit, "2026-04-02T09:30:00Z")
    pages = ["", "working/", "record/", "find-the-part/", "not-right/"]
    addresses = [f"checks/{check.uuid}/{each}" for each in pages]
    addresses += ["ratings/", "today/", "vehicles/", "checks/", "due/", "check/", "judge-anew/", type_page(unit)]
    for address in addresses:
        text = words(somebody.get(address))
        assert "nan" not in text.replace("finance", "").split(), address
        assert "None A" not in text, address
    assert "Type not identified: no amps, no voltage and no tolerance are known." in words(somebody.get("ratings/"))


def test_the_types_on_file_are_shown_with_their_numbers_and_one_is_chosen_by_a_person(unit: Workshop) -> None:
    kind = builders.retarder_type(unit.organisation, rated_currents_a=[36.0] * 4)
    builders.retarder_type(unit.organisation, reference_voltage_v=None, reference_voltage_basis="unknown")
    check = recorded(unit).inspection
    manager = taker(unit)
    told = words(manager.get(type_page(unit)))
    assert "2.593 S ± 0.109" in told
    assert "100.8 ± 4.2 % of rated" in told
    assert "16 <strong>(8 counted)</strong>" in told
    assert "not known: the rating states no voltage" in told
    assert check.verdict == "undetermined"
    answer = manager.post(type_page(unit), retarder_type=str(kind.uuid), reason="Coils and cover as in the book.")
    report = words(manager.get(manager.at))
    assert (answer.status_code, "Verdicts that changed" in report) == (302, True)
    check.refresh_from_db()
    assert check.verdict == "pass"
    assert Judgement.objects.filter(inspection=check).count() == 2
    result = words(manager.get(f"checks/{check.uuid}/"))
    assert "Coils and cover as in the book." in result
    assert "Held against itself" not in result
    vehicle = words(manager.get(f"vehicles/{unit.installation.vehicle.uuid}/"))
    assert "Type not identified" not in vehicle
    assert manager.address(type_page(unit)) in vehicle


def test_saying_another_type_undoes_it(unit: Workshop) -> None:
    recorded(unit)
    own, kind = unit.installation.retarder.retarder_type, builders.retarder_type(unit.organisation)
    manager = taker(unit)
    for chosen in (kind, own):
        told = words(manager.get(type_page(unit)))
        assert f'value="{chosen.uuid}"' in told
        manager.post(type_page(unit), retarder_type=str(chosen.uuid), reason="Looked again.")
    assert Inspection.objects.of(unit.organisation).get().verdict == "undetermined"


@pytest.mark.parametrize("fields", [{"reason": ""}, {"retarder_type": ""}, {"retarder_type": "not one"}])
def test_without_a_type_or_a_reason_nothing_is_identified(unit: Workshop, fields: dict[str, str]) -> None:
    kind = builders.retarder_type(unit.organisation)
    sent = {"retarder_type": str(kind.uuid), "reason": "Plate found."} | fields
    answer = taker(unit).post(type_page(unit), **sent)
    assert (answer.status_code, list(answer.context["form"].errors)) == (200, list(fields))
    assert not Installation.objects.get(pk=unit.installation.pk).retarder.retarder_type.identified


@pytest.mark.parametrize("role", [Role.VIEWER, Role.TRAINEE, Role.TECHNICIAN])
def test_who_does_not_manage_sees_the_types_and_chooses_none(unit: Workshop, role: Role) -> None:
    kind = builders.retarder_type(unit.organisation)
    somebody = taker(unit, role)
    assert "Say which it is" not in words(somebody.get(type_page(unit)))
    answer = somebody.post(type_page(unit), retarder_type=str(kind.uuid), reason="Guess.")
    assert answer.status_code == 403


def test_a_stranger_finds_neither_the_unit_nor_its_types(unit: Workshop) -> None:
    elsewhere = builders.workshop()
    stranger = taker(elsewhere)
    assert stranger.get(type_page(unit)).status_code == 404
    kind = str(unit.installation.retarder.retarder_type.uuid)
    answer = stranger.post(type_page(elsewhere), retarder_type=kind, reason="Guess.")
    assert list(answer.context["form"].errors) == ["retarder_type"]


def test_the_page_of_types_costs_the_same_at_one_and_at_many(unit: Workshop) -> None:
    manager, counts = taker(unit), []
    for number in (1, 8):
        for month in range(1, number + 1):
            builders.retarder_type(unit.organisation)
            recorded(unit, f"2025-{number + month % 4:02}-{month:02}T09:30:00Z")
        manager.get(type_page(unit))
        with CaptureQueriesContext(connection) as captured:
            manager.get(type_page(unit))
        counts.append(len(captured))
    assert counts[0] == counts[1]
