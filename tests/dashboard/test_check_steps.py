"""A check taken page by page, and what the book holds afterwards."""

import pytest

from accounts.roles import Role
from inspections.models import Inspection
from tests import builders
from tests.dashboard.taking import ALL_PUT_BACK, SAFE, Taker


@pytest.fixture
def taker(workshop: builders.Workshop) -> Taker:
    return Taker(workshop)


def test_a_check_taken_page_by_page_is_stored_unsigned_with_the_digits_as_typed(taker: Taker) -> None:
    check = taker.healthy().stored(notes="Ramp two.")
    assert check.verdict == "pass"
    assert check.signed_at is None
    reading = check.evidence["stage_readings"][0]
    assert reading["supply_voltage_v"] == "14.0"
    assert reading["seconds_on"] == "6.4"
    assert reading["outputs_live"] == [1]
    assert reading["lamps_lit"] == [1]
    assert check.evidence["cautions"] == {key: True for key in SAFE if key not in ("air_suspension", "cab")} | {
        "air_suspension": "none",
        "cab": "empty",
    }
    assert check.evidence["notes"] == "Ramp two."


def test_nothing_is_in_the_book_before_the_last_step(taker: Taker) -> None:
    taker.healthy()
    assert not Inspection.objects.exists()


def test_storing_twice_stores_once_and_both_answers_lead_to_the_result(taker: Taker) -> None:
    taker.healthy()
    look_over = taker.at
    check = taker.stored()
    answer = taker.post(look_over, purpose="routine")
    assert answer.status_code == 302
    assert taker.at == f"checks/{check.uuid}/"
    assert Inspection.objects.count() == 1


def test_a_check_does_not_begin_before_everything_is_made_safe(taker: Taker) -> None:
    missing = {key: value for key, value in SAFE.items() if key != "wheels_chocked"}
    answer = taker.post(f"check/start/{taker.workshop.installation.uuid}/", **missing)
    assert answer.status_code == 200
    assert list(answer.context["form"].errors) == ["wheels_chocked"]
    assert b'aria-describedby="id_wheels_chocked_error"' in answer.content
    assert b'id="id_wheels_chocked_error"' in answer.content


def test_the_usual_bound_of_the_way_the_temperature_is_known_is_filled_in(taker: Taker) -> None:
    check = taker.healthy().stored()
    assert check.coil_temperature_method == "parked"
    assert check.evidence["coil_temperature_bound_c"] == "3.0"


def test_a_temperature_that_is_missing_is_asked_for_at_its_field_and_nothing_typed_is_lost(taker: Taker) -> None:
    taker.start()
    answer = taker.send(
        ammeter=taker.workshop.ammeter.uuid,
        voltmeter=taker.workshop.voltmeter.uuid,
        coil_temperature_method="measured",
        coil_temperature_c="",
        coil_temperature_bound_c="4,5",
        engine_state="high_idle",
    )
    assert list(answer.context["form"].errors) == ["coil_temperature_c"]
    page = answer.content.decode()
    assert 'value="4,5"' in page
    assert 'aria-invalid="true" aria-describedby="id_coil_temperature_c_error"' in page


def test_363_is_questioned_and_put_right_with_one_tap(taker: Taker) -> None:
    taker.ready()
    answer = taker.read(current_a="363")
    assert answer.status_code == 200
    slip = answer.context["slip"]
    assert slip.correction == "14.0 V 36.3 A"
    assert f'name="take" value="{slip.correction}"' in answer.content.decode()
    taker.read(current_a="363", take=slip.correction)
    assert taker.client.session["checks"][taker.at.split("/")[1]]["readings"]["1"]["current_a"] == "36.3"


def test_a_number_that_is_right_as_typed_is_taken_and_then_leads_to_the_stop(taker: Taker) -> None:
    taker.ready()
    slip = taker.read(current_a="363").context["slip"]
    taker.read(current_a="363", confirmed=slip.confirmation)
    assert taker.at.endswith("reading/1/stop/")


def test_over_130_percent_of_expectation_stops_the_check_and_the_rest_is_not_read(taker: Taker) -> None:
    taker.ready()
    taker.read()
    taker.read(current_a="50")
    assert taker.at.endswith("reading/2/stop/")
    page = taker.client.get(taker.address(taker.at)).content.decode()
    assert "Stop. Everything off." in page
    assert "lead to frame" in page
    taker.send(reason="Stopped: stage 2 drew far too much.")
    check = taker.stored()
    assert [entry["stage"] for entry in check.evidence["stages_not_read"]] == [3, 4]
    assert check.verdict == "fail"
    assert check.evidence["stages_not_read"][0]["reason"] == "Stopped: stage 2 drew far too much."


def test_a_supply_that_gives_way_stops_the_check(taker: Taker) -> None:
    taker.ready()
    taker.read(supply_voltage_v="11.0", current_a="28.0")
    assert taker.at.endswith("reading/1/stop/")


def test_the_order_of_the_stages_is_free(taker: Taker) -> None:
    taker.ready()
    for stage in (3, 1, 4, 2):
        taker.at = taker.draft(f"reading/{stage}/")
        taker.read()
    assert taker.at.endswith("look-over/")


def test_a_stage_that_is_not_read_needs_a_reason(taker: Taker) -> None:
    taker.ready()
    answer = taker.send(not_read="1", reason="")
    assert list(answer.context["not_read_form"].errors) == ["reason"]
    taker.send(not_read="1", reason="Output cover seized.")
    for _stage in range(3):
        taker.read()
    check = taker.stored()
    assert check.evidence["stages_not_read"] == [{"stage": 1, "reason": "Output cover seized."}]
    assert check.verdict == "undetermined"


def test_not_looked_at_is_kept_apart_from_none(taker: Taker) -> None:
    taker.ready()
    taker.read(seen="not_looked_at")
    taker.read(seen="otherwise", outputs_looked_at="on")
    taker.read()
    taker.read()
    check = taker.stored()
    first, second = check.evidence["stage_readings"][:2]
    assert "outputs_live" not in first
    assert second["outputs_live"] == []
    assert "lamps_lit" not in second
    assert check.verdict == "fail"


def test_outputs_and_lamps_as_expected_are_no_finding_for_any_kind_of_box(db: None) -> None:
    for columns in ({}, {"lamps": 1}, {"outputs_by_input": [[2], [1], [3], [4]]}, {"lamps": None}):
        kind = builders.workshop()
        box = kind.installation.relay_box_type
        assert box is not None
        type(box).objects.filter(pk=box.pk).update(**columns)
        check = Taker(kind).healthy().stored()
        codes = {finding["code"] for finding in check.judgements.get().result["findings"]}
        assert not codes & {"output_mismatch", "lamp_mismatch"}, columns


def test_stages_read_together_are_stored_beside_the_single_readings(taker: Taker) -> None:
    taker.healthy()
    taker.at = taker.draft("reading/1-2/")
    for current_a in ("71.5", "106", "140"):
        taker.read(current_a=current_a, supply_voltage_v="13.8")
    check = taker.stored()
    assert [reading["energised"] for reading in check.evidence["stage_readings"]][4:] == [
        [1, 2],
        [1, 2, 3],
        [1, 2, 3, 4],
    ]
    codes = {finding["code"] for finding in check.judgements.get().result["findings"]}
    assert "shared_ground_not_tested" not in codes


def test_last_time_and_the_expected_band_are_not_in_the_page_before_both_numbers_are(taker: Taker) -> None:
    taker.healthy().stored()
    taker.ready()
    page = taker.client.get(taker.address(taker.at)).content.decode()
    assert "Expected" not in page
    assert "Last time" not in page
    look = f"{taker.at}look/"
    assert taker.post(look, supply_voltage_v="14.0", current_a="", seen="not_looked_at").content == b""
    both = taker.post(look, supply_voltage_v="14.0", current_a="36.0", seen="not_looked_at").content.decode()
    assert "Expected 32.0 to 39.1 A at 14.00 V." in " ".join(both.split())
    assert "36.3 A at 14.0 V" in both


def test_a_clamp_held_the_wrong_way_round_is_refused_at_its_field(taker: Taker) -> None:
    taker.ready()
    answer = taker.read(current_a="-36,3")
    assert list(answer.context["form"].errors) == ["current_a"]
    assert "clamp reversed?" in answer.content.decode()
    assert 'value="-36,3"' in answer.content.decode()


def test_the_meters_of_the_last_check_are_offered_first(taker: Taker) -> None:
    sorts_first = builders.meter(taker.organisation, "ammeter")
    type(sorts_first).objects.filter(pk=sorts_first.pk).update(designation="A clamp")
    taker.healthy().stored()
    taker.start()
    form = taker.client.get(taker.address(taker.at)).context["form"]
    assert form["ammeter"].value() == str(taker.workshop.ammeter.uuid)


def test_a_draft_is_nobody_elses(taker: Taker) -> None:
    taker.ready()
    other = Taker(taker.workshop)
    answer = other.get(taker.at)
    assert answer.status_code == 302
    assert answer["Location"] == other.address("check/")


def test_thrown_away_is_gone(taker: Taker) -> None:
    taker.ready()
    taker.post(taker.draft("throw-away/"))
    assert taker.client.session["checks"] == {}
    assert taker.at == "check/"


@pytest.mark.parametrize("energised", ["9", "0", "2-3", "1-1", "x", "1-2-3-4-5"])
def test_a_state_that_the_unit_does_not_have_is_no_page(taker: Taker, energised: str) -> None:
    taker.ready()
    assert taker.get(taker.draft(f"reading/{energised}/")).status_code == 404


def test_signing_asks_for_the_put_back_list_and_keeps_it(taker: Taker) -> None:
    check = taker.healthy().stored()
    answer = taker.post(f"checks/{check.uuid}/sign/", **{**ALL_PUT_BACK, "isolator_on": ""})
    assert list(answer.context["put_back_form"].errors) == ["isolator_on"]
    taker.post(f"checks/{check.uuid}/sign/", **ALL_PUT_BACK)
    check.refresh_from_db()
    assert check.signed_by == taker.member.user


def test_a_trainee_takes_a_check_and_cannot_sign_it(workshop: builders.Workshop) -> None:
    trainee = Taker(workshop, Role.TRAINEE)
    check = trainee.healthy().stored()
    assert b"Before leaving, then sign" not in trainee.get(f"checks/{check.uuid}/").content
    assert trainee.post(f"checks/{check.uuid}/sign/", **ALL_PUT_BACK).status_code == 403
    check.refresh_from_db()
    assert check.signed_at is None


def test_a_viewer_sees_the_units_and_cannot_start_a_check(workshop: builders.Workshop) -> None:
    viewer = Taker(workshop, Role.VIEWER)
    assert viewer.get("check/").status_code == 200
    assert viewer.get(f"check/start/{workshop.installation.uuid}/").status_code == 403
    assert viewer.post(f"check/start/{workshop.installation.uuid}/", **SAFE).status_code == 403
