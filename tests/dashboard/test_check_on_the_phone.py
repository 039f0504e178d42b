"""What a technician reads and taps in a check, with one hand and the other on the meter."""

import re
from typing import Any

import pytest

from inspections.cautions import KEPT_IN_MIND
from inspections.models import Inspection
from tests import builders
from tests.dashboard.taking import ALL_PUT_BACK, CONDITIONS, SAFE, Taker

STOP_WORDS = (
    "Stage off. Engine off. Then open the isolator. Do not energise it again, and fit no new fuse, before lead to "
    "frame has been read with the power isolated."
)


@pytest.fixture
def taker(workshop: builders.Workshop) -> Taker:
    return Taker(workshop)


def words(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def page(taker: Taker, path: str | None = None) -> str:
    answer = taker.get(path or taker.at)
    assert answer.status_code == 200
    return words(answer)


def assert_summary_comes_first(text: str, *linked: str) -> None:
    """Hold that the list of faults stands before the heading, is spoken, and leads to fields that are there."""
    summary = re.search(r'<div class="summary" role="alert".*?</div>', text)
    assert summary
    assert summary.start() < text.index("<h1")
    assert re.findall(r'href="#([^"]+)"', summary[0]) == list(linked)
    assert all(f'id="{field}"' in text for field in linked)


def test_while_a_stage_is_read_the_bar_below_is_one_stop_and_nothing_else(taker: Taker) -> None:
    taker.ready()
    text = page(taker)
    assert text.count("Smoke or smell: stop") == 1
    assert re.search(r'<form method="post" class="stop-bar">.*?name="stop" value="smoke"', text)
    assert 'class="phone"' not in text


def test_the_steps_of_a_check_carry_no_header_and_no_demo_strip_but_a_way_out(taker: Taker) -> None:
    type(taker.organisation).objects.filter(pk=taker.organisation.pk).update(is_demo=True)
    assert "demo-strip" in page(taker, "check/")
    taker.healthy()
    steps = ["conditions/", "clear/", "all-off/", "reading/1/", "reading/1/stop/", "look-over/"]
    for path in [*map(taker.draft, steps), f"check/start/{taker.workshop.installation.uuid}/"]:
        text = page(taker, path)
        assert 'class="frame"' not in text, path
        assert "demo-strip" not in text, path
        assert 'class="phone"' not in text, path
        assert f'href="{taker.address("check/")}">Leave the check</a>' in text, path


def test_the_stop_says_stage_then_engine_then_isolator(taker: Taker) -> None:
    taker.ready()
    taker.send(stop="smoke")
    assert STOP_WORDS in page(taker)
    assert "stage off, engine off, then open the isolator" in str(KEPT_IN_MIND[-1])


def test_a_stage_that_is_not_read_is_said_to_leave_the_vehicle_due(taker: Taker) -> None:
    taker.healthy()
    assert "stays due" not in page(taker)
    look_over = taker.at
    taker.post(taker.draft("reading/3/"), not_read="1", reason="Cover seized.")
    assert "Stage 3 is not read: this check will give no verdict, and the vehicle stays due." in page(taker, look_over)
    taker.post(taker.draft("reading/4/"), not_read="1", reason="Cover seized.")
    assert "Stages 3, 4 are not read: this check will give no verdict" in page(taker, look_over)
    taker.at = look_over
    assert taker.stored().verdict == "undetermined"


def test_where_what_was_read_fails_no_missing_verdict_is_announced(taker: Taker) -> None:
    taker.ready()
    taker.read(current_a="28")
    for _stage in range(2):
        taker.read()
    taker.send(not_read="1", reason="Cover seized.")
    text = page(taker)
    assert "Stage 4 is not read: what was read is outside limits all the same, and the vehicle stays due." in text
    assert "no verdict" not in text
    assert taker.stored().verdict == "fail"


@pytest.mark.parametrize("step", ["all-off", "conditions", "2", "1-2"])
def test_what_is_typed_on_look_over_survives_going_to_change_and_back(taker: Taker, step: str) -> None:
    taker.healthy()
    look_over = taker.at
    assert f'form="over" name="change" value="{step}"' in page(taker)
    taker.send(purpose="fault_finding", notes="Ramp two.", change=step)
    assert taker.at == taker.draft(f"{step}/" if step in ("all-off", "conditions") else f"reading/{step}/")
    assert not Inspection.objects.exists()
    form = taker.get(look_over).context["form"]
    assert (form["purpose"].value(), form["notes"].value()) == ("fault_finding", "Ramp two.")


def test_the_reason_of_a_correction_survives_going_to_change_and_back(taker: Taker) -> None:
    check = taker.healthy().stored()
    taker.post(f"checks/{check.uuid}/sign/", **ALL_PUT_BACK)
    taker.post(f"checks/{check.uuid}/replace/mistyped/")
    look_over = taker.at
    taker.send(purpose="routine", supersede_reason="One digit wrong.", change="1")
    taker.read(current_a="36.0")
    assert taker.at == look_over
    assert taker.get(look_over).context["form"]["supersede_reason"].value() == "One digit wrong."


def test_there_is_no_way_to_change_a_state_that_the_unit_does_not_have(taker: Taker) -> None:
    taker.healthy()
    assert taker.send(purpose="routine", change="9").status_code == 404


@pytest.mark.parametrize(
    ("seen", "more"),
    [
        ("as_expected", {}),
        ("not_looked_at", {}),
        ("otherwise", {"outputs_looked_at": "on", "outputs_live": ["2"]}),
        ("otherwise", {"outputs_looked_at": "on", "outputs_live": ["1"]}),
    ],
)
def test_outputs_and_lamps_reopen_as_they_were_answered(taker: Taker, seen: str, more: dict[str, Any]) -> None:
    taker.ready()
    taker.read(seen=seen, **more)
    assert taker.get(taker.draft("reading/1/")).context["form"]["seen"].value() == seen


def test_the_cab_is_asked_like_the_air_suspension_and_both_are_listed_first_on_the_page(taker: Taker) -> None:
    address = f"check/start/{taker.workshop.installation.uuid}/"
    assert "checked" not in page(taker, address)
    unanswered = {key: value for key, value in SAFE.items() if key not in ("cab", "air_suspension")}
    text = words(taker.post(address, **unanswered))
    assert_summary_comes_first(text, "id_air_suspension_0", "id_cab_0")
    assert '<a href="#id_cab_0">Cab</a> <span class="fault">Answer this.</span>' in text


def test_refused_meters_and_temperature_are_listed_first_on_the_page(taker: Taker) -> None:
    taker.start()
    text = words(taker.send(**(CONDITIONS | {"coil_temperature_c": ""})))
    assert_summary_comes_first(text, "id_ammeter", "id_voltmeter", "id_coil_temperature_c")


def test_refused_readings_and_reasons_are_listed_first_on_the_page(taker: Taker) -> None:
    taker.ready()
    assert_summary_comes_first(words(taker.read(current_a="", supply_voltage_v="")), *VOLTS_AND_AMPS)
    assert_summary_comes_first(words(taker.post(taker.draft("all-off/"))), *VOLTS_AND_AMPS)
    text = words(taker.send(not_read="1", reason=""))
    assert_summary_comes_first(text, "id_reason")
    assert "Say why." in text
    assert "This field is required" not in text


VOLTS_AND_AMPS = ("id_supply_voltage_v", "id_current_a")


def test_a_correction_without_a_reason_is_asked_why_first_on_the_page(taker: Taker) -> None:
    check = taker.healthy().stored()
    taker.post(f"checks/{check.uuid}/sign/", **ALL_PUT_BACK)
    taker.post(f"checks/{check.uuid}/replace/mistyped/")
    text = words(taker.send(purpose="routine", supersede_reason=""))
    assert_summary_comes_first(text, "id_supersede_reason")
    assert "Say why." in text


def test_the_question_about_a_slip_comes_after_stage_off_and_repeats_the_number(taker: Taker) -> None:
    taker.ready()
    text = words(taker.read(current_a="195"))
    question = text.index("Stage off first. What did the meter show?")
    assert question < text.index('name="take"') < text.index(">The meter showed 195 A</button>")


def test_swapped_volts_and_amps_are_put_right_with_one_tap(taker: Taker) -> None:
    taker.ready()
    answer = taker.read(supply_voltage_v="40.1", current_a="13,76")
    assert ">Swapped: 13.76 V and 40.1 A</button>" in words(answer)
    taker.read(supply_voltage_v="40.1", current_a="13,76", take=answer.context["slip"].correction)
    kept = taker.client.session["checks"][taker.at.split("/")[1]]["readings"]["1"]
    assert (kept["supply_voltage_v"], kept["current_a"]) == ("13.76", "40.1")


def test_a_stage_page_says_to_type_after_off_and_look_over_shows_the_seconds(taker: Taker) -> None:
    taker.ready()
    assert "Read both, switch off, tap Off, then type." in page(taker)
    for _stage in range(4):
        taker.read(seconds_on="7.5")
    assert page(taker).count('<td class="number">7.5</td>') == 4


def test_all_off_is_read_with_the_engine_as_in_the_check(taker: Taker) -> None:
    taker.ready()
    text = page(taker, taker.draft("all-off/"))
    assert "Engine as you will read it, every stage off: read volts and amps." in text


def test_parked_asks_for_the_temperature_of_the_air(taker: Taker) -> None:
    taker.start()
    text = page(taker)
    assert 'data-parked="Air temperature, °C" data-other="Coil temperature, °C"' in text
    assert "Coil temperature (parked: the air&#x27;s), °C</label>" in text


def test_reading_stages_together_is_called_cumulative_too(taker: Taker) -> None:
    taker.healthy()
    assert "Read stages together too (cumulative)" in page(taker)
    assert "Stages 1, 2 together (cumulative)" in page(taker, taker.draft("reading/1-2/"))


def test_a_bound_on_the_temperature_is_shown_in_two_digits(taker: Taker) -> None:
    taker.ready(coil_temperature_bound_c="15,96")
    assert "Coils 20 ± 16 °C." in page(taker, taker.draft("look-over/"))


def test_a_dropped_correction_leaves_the_stored_check_and_says_so(taker: Taker) -> None:
    check = taker.healthy().stored()
    assert "Throw this check away" in page(taker.ready(), taker.draft("look-over/"))
    taker.post(f"checks/{check.uuid}/sign/", **ALL_PUT_BACK)
    taker.post(f"checks/{check.uuid}/replace/mistyped/")
    text = page(taker)
    assert "Drop this correction; the stored check stays" in text
    assert "Throw this check away" not in text
    taker.post(taker.draft("throw-away/"))
    assert taker.at == f"checks/{check.uuid}/"
    assert "The correction is dropped. The stored check stays." in page(taker)
