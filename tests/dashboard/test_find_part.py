"""Find the part: the next reading, the likely causes as they move, and what is never asked."""

import re
from typing import Any

import pytest

from accounts.roles import Role
from inspections.models import Defect, ExtraReading, Inspection
from inspections.services.defect_life import record_repair
from tests import builders
from tests.builders import Workshop, single_pass
from tests.dashboard.taking import Taker
from tests.inspections.visits import recorded

DEAD = 3


def check(workshop: Workshop, **stage: float) -> Inspection:
    """Return a check whose stage 3 reads what is given, dead unless told otherwise."""
    readings = single_pass()
    readings[DEAD - 1] |= {"current_a": 0.0, **stage}
    return recorded(workshop, stage_readings=readings, rest={"supply_voltage_v": 14.2, "current_a": 0.0}).inspection


def page(taker: Taker, of: Inspection, query: str = "") -> Any:
    answer = taker.get(f"checks/{of.uuid}/find-the-part/{query}")
    assert answer.status_code == 200
    return answer


def fields(answer: Any) -> dict[str, Any]:
    """Return what the form of the page would send, without the value."""
    form = answer.context["form"]
    return {name: form[name].value() for name in ("id", "kind", "stage", "coil", "energised") if form[name].value()}


def enter(taker: Taker, of: Inspection, value: str, **more: Any) -> Any:
    """Type a value for the reading that is asked for."""
    return taker.post(f"checks/{of.uuid}/find-the-part/", **(fields(page(taker, of)) | {"value": value} | more))


def causes(answer: Any) -> list[tuple[str, int | None]]:
    return [(each.cause, each.stage) for each in answer.context["groups"][0].causes]


def test_a_dead_stage_is_asked_for_its_output_and_the_ranking_moves_with_the_answer(workshop: Workshop) -> None:
    found, taker = check(workshop), Taker(workshop)
    first = page(taker, found)
    text = first.content.decode()
    assert first.context["asked"]["title"] == "stage 3: volts at the stage output"
    assert {"blown_fuse", "contact_not_closing", "open_stage_lead"} <= {cause for cause, _stage in causes(first)}
    assert "Not told apart yet" in text
    assert first.context["asked"]["state"] in text
    values = dict(first.context["asked"]["expected"])
    assert any("fuse open" in words for words in values.values())
    assert enter(taker, found, "14,1").status_code == 302
    after = page(taker, found)
    assert {cause for cause, _stage in causes(after)} <= {"open_stage_lead", "open_coil"}
    assert "14.1 V" in after.content.decode()
    stored = ExtraReading.objects.get(inspection=found)
    assert (stored.kind, stored.stage, stored.value) == ("output_voltage", 3, "14.1")
    assert stored.energised == first.context["asked"]["energised"]


def test_the_drawing_marks_what_is_suspected_and_where_the_leads_go(workshop: Workshop) -> None:
    text = page(Taker(workshop), check(workshop)).content.decode()
    described = re.search(r'<desc id="circuit-desc">(.*?)</desc>', text, re.DOTALL)
    assert described
    assert "Suspected: A" in described[1]
    assert "Red lead on the stage output, black lead on clean chassis metal." in described[1]
    assert "Read: 14.0 V." in described[1]
    assert text.count('class="suspect"') >= 2
    assert text.count('class="end"') == 2


def test_what_cannot_be_reached_is_passed_over_and_can_be_asked_for_again(workshop: Workshop) -> None:
    found, taker = check(workshop), Taker(workshop)
    address = f"checks/{found.uuid}/find-the-part/"
    asked = page(taker, found).context["asked"]["title"]
    taker.post(address, **fields(page(taker, found)), cannot_reach="1")
    other = page(taker, found)
    assert other.context["asked"]["title"] != asked
    assert other.context["passed_over"] == [asked]
    assert not ExtraReading.objects.filter(inspection=found).exists()
    taker.post(address, reach_again="1")
    assert page(taker, found).context["asked"]["title"] == asked


def test_another_reading_of_any_kind_can_be_taken(workshop: Workshop) -> None:
    found, taker = check(workshop), Taker(workshop)
    query = "?kind=coil_resistance&stage=3&coil="
    chosen = page(taker, found, query)
    assert chosen.context["asked"]["state"] == "power isolated"
    sent = fields(chosen) | {"over_range": "on", "chosen": "1"}
    assert taker.post(f"checks/{found.uuid}/find-the-part/", **sent).status_code == 302
    stored = ExtraReading.objects.get(inspection=found)
    assert (stored.kind, stored.value, stored.over_range, stored.energised) == ("coil_resistance", None, True, [])
    assert "over range" in page(taker, found).content.decode()


@pytest.mark.parametrize("kind", ["output_voltage", "battery_voltage"])
def test_a_stage_that_drew_far_too_much_is_never_switched_on_again(workshop: Workshop, kind: str) -> None:
    found, taker = check(workshop, current_a=90.0, supply_voltage_v=13.6), Taker(workshop)
    shown = page(taker, found)
    assert "Stage 3 drew far too much" in shown.content.decode()
    assert shown.context["asked"] is None or 3 not in shown.context["asked"]["energised"]
    sent = fields(page(taker, found, f"?kind={kind}&stage=3&coil=")) | {"energised": [3], "value": "13", "chosen": "1"}
    refused = taker.post(f"checks/{found.uuid}/find-the-part/", **sent)
    assert refused.status_code == 200
    assert "leave it off" in refused.content.decode()
    assert not ExtraReading.objects.filter(inspection=found).exists()


def test_a_supply_that_collapses_is_read_with_power_off_only(workshop: Workshop) -> None:
    readings = [{"stage": 1, "energised": [1], "supply_voltage_v": 6.0, "current_a": 250.0}]
    left = [{"stage": stage, "reason": "stopped"} for stage in (2, 3, 4)]
    found = recorded(workshop, stage_readings=readings, stages_not_read=left).inspection
    taker = Taker(workshop)
    assert "The supply collapses under load" in page(taker, found).content.decode()
    sent = fields(page(taker, found, "?kind=battery_voltage")) | {"energised": [2], "value": "12", "chosen": "1"}
    assert taker.post(f"checks/{found.uuid}/find-the-part/", **sent).status_code == 200
    assert not ExtraReading.objects.exists()


@pytest.mark.parametrize(("volts", "amps"), [(14.0, 363.0), (36.3, 14.0)])
def test_readings_no_cause_explains_are_called_out(workshop: Workshop, volts: float, amps: float) -> None:
    readings = single_pass() if amps > 100 else single_pass(amps, volts)
    readings[DEAD - 1] |= {"supply_voltage_v": volts, "current_a": amps}
    found = recorded(workshop, stage_readings=readings).inspection
    text = page(Taker(workshop), found).content.decode()
    assert "No single cause explains these readings." in text
    assert "a decimal point left out" in text


def test_a_settled_cause_says_what_to_do_and_opens_a_defect_once(workshop: Workshop) -> None:
    found, taker = check(workshop), Taker(workshop)
    for _reading in range(4):
        asked = page(taker, found).context["asked"]
        if asked is None:
            break
        enter(taker, found, "0.0" if asked["kind"] in ("output_voltage", "contact_drop") else "13.1")
    end = page(taker, found)
    assert end.context["asked"] is None
    (cause,) = end.context["end"]["causes"]
    assert "Afterwards:" in end.content.decode()
    assert "low-speed road test" in end.content.decode()
    for _tap in range(2):
        answer = taker.post(f"checks/{found.uuid}/find-the-part/", open_defect=f"{cause.cause}:{cause.stage}")
        assert "/defects/" in answer["Location"]
    assert Defect.objects.filter(code=cause.cause, stage=cause.stage, found_by=found).count() == 1


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"value": ""}, "Answer this."),
        ({"value": "thirteen"}, "Write one number"),
        ({"value": "5000"}, "allowed is -1000 to 1000"),
        ({"value": "13", "energised": []}, "Say which stages were on."),
        ({"value": "13", "stage": "9"}, "9"),
        ({"value": "13", "stage": ""}, "Say which stage."),
        ({"value": "13", "id": "no id"}, "UUID"),
    ],
)
def test_a_faulty_entry_is_refused_in_words(workshop: Workshop, sent: dict[str, Any], words: str) -> None:
    found, taker = check(workshop), Taker(workshop)
    answer = taker.post(f"checks/{found.uuid}/find-the-part/", **(fields(page(taker, found)) | sent))
    assert answer.status_code == 200
    assert words in answer.content.decode()
    assert not ExtraReading.objects.exists()


@pytest.mark.parametrize(
    "query", ["?kind=smell", "?kind=output_voltage", "?kind=coil_drop&stage=3", "?kind=fuse_drop&stage=77"]
)
def test_an_address_that_names_no_reading_asks_for_the_suggested_one(workshop: Workshop, query: str) -> None:
    shown = page(Taker(workshop), check(workshop), query)
    assert shown.context["asked"]["chosen"] is False


@pytest.mark.parametrize(
    "named", ["wrong:3", "blown_fuse:9", "blown_fuse:-1", "blown_fuse:²", "healthy:", "none_of_these:", ""]
)
def test_a_defect_of_no_cause_is_not_opened(workshop: Workshop, named: str) -> None:
    found, taker = check(workshop), Taker(workshop)
    before = Defect.objects.count()
    assert taker.post(f"checks/{found.uuid}/find-the-part/", open_defect=named).status_code == 302
    assert Defect.objects.count() == before


def test_a_viewer_sees_the_causes_and_enters_nothing(workshop: Workshop) -> None:
    found, viewer = check(workshop), Taker(workshop, Role.VIEWER)
    text = page(viewer, found).content.decode()
    assert "Likely causes" in text
    assert 'name="value"' not in text
    assert viewer.post(f"checks/{found.uuid}/find-the-part/", reach_again="1").status_code == 403


def test_a_check_of_another_book_is_not_found(workshop: Workshop) -> None:
    stranger = Taker(workshop, Role.MANAGER, of=builders.organisation())
    found = check(workshop)
    assert stranger.get(f"checks/{found.uuid}/find-the-part/").status_code == 404
    assert stranger.post(f"checks/{found.uuid}/find-the-part/", reach_again="1").status_code == 404


def test_result_defect_and_today_lead_here(workshop: Workshop) -> None:
    found, taker = check(workshop), Taker(workshop, Role.MANAGER)
    defect = Defect.objects.get(found_by=found)
    for path in (f"checks/{found.uuid}/", f"defects/{defect.uuid}/", "today/"):
        assert f"checks/{found.uuid}/find-the-part/" in taker.get(path).content.decode(), path


def test_the_cause_that_was_found_stands_ready_when_the_repair_is_recorded(workshop: Workshop) -> None:
    found, taker = check(workshop), Taker(workshop)
    defect = Defect.objects.get(found_by=found)
    shown = taker.get(f"defects/{defect.uuid}/?cause=blown_fuse").content.decode()
    assert '<option value="blown_fuse" selected>' in shown
    record_repair(builders.actor(workshop.organisation), defect, done="Fuse renewed", cause="blown_fuse")
    after = taker.get(f"defects/{defect.uuid}/").content.decode()
    for words in ("fuse of the same rating", "all stages read again", "control check", "low-speed road test"):
        assert words in after
