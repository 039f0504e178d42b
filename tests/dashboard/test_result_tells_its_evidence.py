"""The result and its working tell who read, what was put right, with which meters, and what the verdict is about."""

import datetime as dt
from typing import Any

import pytest
from django.template import Context, Template

from accounts.roles import Role
from inspections.models import Calibration, Defect, Inspection, Meter
from tests import builders
from tests.conftest import Api
from tests.dashboard.taking import ALL_PUT_BACK, Taker


@pytest.fixture
def taker(workshop: builders.Workshop) -> Taker:
    return Taker(workshop)


def page_of(taker: Taker, check: Inspection, part: str = "") -> str:
    answer = taker.get(f"checks/{check.uuid}/{part}")
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def recorded(taker: Taker, **fields: Any) -> Inspection:
    document = builders.inspection_document(taker.workshop, **fields)
    answer = Api(taker.organisation).post("inspections/", document)
    assert answer.status_code == 201, answer.content
    return Inspection.objects.get(uuid=document["id"])


def replaced(
    taker: Taker, wrong: Inspection, current_a: str = "27.6", reason: str = "26.7 typed for 27.6."
) -> Inspection:
    taker.post(f"checks/{wrong.uuid}/replace/mistyped/")
    taker.at = taker.draft("reading/1/")
    taker.read(current_a=current_a)
    right = taker.stored(supersede_reason=reason)
    taker.post(f"checks/{right.uuid}/sign/", **ALL_PUT_BACK)
    return right


@pytest.fixture
def wrong(taker: Taker) -> Inspection:
    taker.ready()
    taker.read(current_a="26.7")
    for _stage in range(3):
        taker.read()
    check = taker.stored()
    taker.post(f"checks/{check.uuid}/sign/", **ALL_PUT_BACK)
    return check


def test_a_replacement_says_who_read_and_who_put_it_right(taker: Taker, wrong: Inspection) -> None:
    other = Taker(taker.workshop, Role.MANAGER)
    right = replaced(other, wrong)
    page = page_of(taker, right)
    on = f"{wrong.performed_on:%-d %b %Y}"
    assert f"Read {on} by {taker.member.user}. Put right " in page
    assert f" by {other.member.user}.</p>" in page
    assert f"Replaces the check of {on} read by {taker.member.user} (<del>Outside limits</del>)." in page
    assert "Reason: 26.7 typed for 27.6." in page
    assert "<li>Stage 1: 26.7 A → 27.6 A</li>" in page
    assert f"read by {other.member.user}" not in page


def test_a_second_replacement_still_names_the_first_reader(taker: Taker, wrong: Inspection) -> None:
    second = replaced(Taker(taker.workshop, Role.MANAGER), wrong)
    third = replaced(Taker(taker.workshop, Role.MANAGER), second, current_a="27.60", reason="A note was missing.")
    page = page_of(taker, third)
    assert f"by {taker.member.user}. Put right " in page
    assert "No number changed." in page


def test_an_unsigned_replacement_whose_target_went_to_another_does_not_claim_to_have_replaced_it(
    taker: Taker, wrong: Inspection
) -> None:
    taker.post(f"checks/{wrong.uuid}/replace/mistyped/")
    waiting = taker.stored(supersede_reason="Not the one that stands.")
    replaced(taker, wrong)
    page = page_of(taker, waiting)
    assert "Replaces, once it is signed, the check of" in page
    assert "Reason: Not the one that stands." in page


def test_a_replaced_check_keeps_its_signature_and_both_its_pages_point_to_the_one_that_stands(
    taker: Taker, wrong: Inspection
) -> None:
    right = replaced(taker, wrong)
    for part in ("", "working/"):
        page = page_of(taker, wrong, part)
        assert f"by {taker.member.user}: 26.7 typed for 27.6.</strong>" in page
        assert f'checks/{right.uuid}/">The check that stands</a>' in page
    assert f" by {taker.member.user}.</p>" in page_of(taker, wrong).partition("Signed ")[2]


def test_a_verdict_on_some_stages_says_which(taker: Taker) -> None:
    readings = [reading for reading in builders.single_pass() if reading["stage"] != 3]
    page = page_of(taker, recorded(taker, stage_readings=readings, stages_not_read=[{"stage": 3, "reason": "Seized."}]))
    assert "stages 1, 2, 4 only (3 of 4 stages read)" in page
    assert "stages read)" not in page_of(taker, recorded(taker))


def test_a_passing_retest_of_one_stage_is_about_that_stage_only(taker: Taker) -> None:
    readings = builders.single_pass()
    readings[2]["current_a"] = 20.0
    failing = recorded(taker, stage_readings=readings)
    defect = Defect.objects.get(found_by=failing, stage=3)
    alone = [builders.single_pass()[2]]
    retest = recorded(taker, purpose="retest", retest_of=[str(defect.uuid)], stage_readings=alone)
    headline = page_of(taker, retest).partition("<h1")[2].partition("</h1>")[0]
    assert "Inside limits</span></span>, stage 3 only (1 of 4 stages read)" in headline


def test_a_clamp_out_of_calibration_is_named_in_the_headline(taker: Taker) -> None:
    ammeter, voltmeter = taker.workshop.ammeter, taker.workshop.voltmeter
    Meter.objects.filter(pk=voltmeter.pk).update(calibration_due_on=dt.date(2027, 1, 1))
    Calibration.objects.create(
        organisation=taker.organisation,
        meter=ammeter,
        performed_on=dt.date(2024, 3, 1),
        due_on=dt.date(2025, 3, 1),
        certificate="C-1 (test)",
    )
    told = f"Inside limits, by a clamp without a valid calibration on the day ({ammeter}: run out)."
    check = recorded(taker)
    block = page_of(taker, check).partition("<h1")[2].partition('<p class="action">')[0]
    assert f'<p class="qualified"><strong>{told}</strong></p>' in block
    assert told in page_of(taker, check, "working/")


def test_the_working_names_each_meter_with_its_calibration_of_the_day(taker: Taker) -> None:
    meter = taker.workshop.ammeter
    Meter.objects.filter(pk=meter.pk).update(serial_number="S-77 (test)")
    Calibration.objects.create(
        organisation=taker.organisation,
        meter=meter,
        performed_on=dt.date(2025, 9, 1),
        due_on=dt.date(2026, 9, 1),
        certificate="C-1 (test)",
    )
    check = recorded(taker)
    page = page_of(taker, check, "working/")
    assert f"{meter}, serial S-77 (test)<br>± (2 % + 5 × 0.1 A)" in page
    assert "calibrated 1 Sep 2025, due 1 Sep 2026, certificate “C-1 (test)”" in page
    assert "no valid calibration on the day (none on file)" in page
    assert "20 ± 3 °C<br>Parked: the coils are as warm as the air" in page
    assert "At idle" in page


def test_the_working_lists_every_reading_as_it_was_taken(taker: Taker) -> None:
    step = {"stage": 2, "energised": [1, 2], "supply_voltage_v": 13.6, "current_a": 70.1, "seconds_on": 6.5}
    looked = {"outputs_live": [1, 2], "lamps_lit": []}
    extra = [{"kind": "output_voltage", "stage": 2, "value": 13.2}]
    check = recorded(
        taker, stage_readings=[*builders.single_pass(), step | looked], extra_readings=extra, notes="Ramp two."
    )
    page = page_of(taker, check, "working/").replace("> <", "><")
    cells = "</td><td>1, 2</td><td>none</td></tr>"
    assert f'<td>1, 2</td><td class="number">13.6</td><td class="number">70.1</td><td class="number">6.5{cells}' in page
    readings = page.partition('class="readings"')[2].partition("</table>")[0]
    assert readings.count('<th scope="row">') == len(check.evidence["stage_readings"])
    assert "Volts at the output" in page
    assert "13.2 V" in page
    assert "Ramp two." in page
    assert "(2 % × 36.3 A + 5 × 0.1 A) ÷ √3" in page


def test_a_negative_zero_of_the_clamp_is_subtracted_in_brackets(taker: Taker) -> None:
    page = page_of(taker, recorded(taker, rest={"supply_voltage_v": 14.1, "current_a": -0.1}), "working/")
    assert "(36.3 − (−0.1)) ÷ 14" in page
    assert "− -" not in page


def test_paper_names_the_unit_and_ends_with_instants_and_the_fingerprint(taker: Taker) -> None:
    vehicle, unit = taker.workshop.installation.vehicle, taker.workshop.installation.retarder
    check = recorded(taker)
    for part in ("", "working/"):
        page = page_of(taker, check, part)
        paper = page.partition('<p class="on-paper">')[2].partition("</p>")[0]
        assert f"registration {vehicle.registration}" in paper
        assert f"serial {unit.serial_number}" in paper
        assert part or '<p class="on-screen"><a class="step"' in page
        foot = page.partition('<p class="foot muted">')[2].partition("</p>")[0]
        # 9:30 UTC on a day in March is 9:30 in London.
        assert foot.startswith("Read at 2 Mar 2026 09:30 GMT. Stored at ")
        assert "Signed at " in foot
        assert foot.endswith(f"Fingerprint {check.content_hash}")


def limitless(drive: str = "relay", **figures: Any) -> Taker:
    owner = builders.organisation()
    installation = builders.installation(
        owner,
        retarder_type=builders.retarder_type(owner, **figures),
        relay_box_type=builders.relay_box_type(owner, drive=drive),
    )
    meters = builders.meter(owner, "ammeter"), builders.meter(owner, "voltmeter")
    return Taker(builders.Workshop(owner, installation, *meters))


def test_an_electronic_drive_is_said_once_and_gets_no_steps_of_a_resistance(db: None) -> None:
    taker = limitless(drive="electronic")
    check = recorded(taker)
    page = page_of(taker, check)
    assert page.count("The drive is electronic") == 1
    assert 'class="strip ' not in page
    working = page_of(taker, check, "working/")
    assert working.count("The drive is electronic") == 1
    assert 'class="steps"' not in working


def test_where_no_limits_apply_that_is_said_once_and_none_are_drawn(db: None) -> None:
    taker = limitless(reference_voltage_v=None, reference_voltage_basis="unknown")
    check = recorded(taker)
    page = page_of(taker, check)
    assert page.count("The rating states no voltage") == 1
    assert "Limits:" not in page
    assert 'class="strip ' not in page
    assert page.count("read 36.3 A at 14 V") == 4
    working = page_of(taker, check, "working/")
    assert working.count("The rating states no voltage") == 1
    assert working.count("cannot be held against limits") == 1


@pytest.mark.parametrize(("chance", "written"), [(0.99996, "&gt; 0.9999"), (0.97321, "0.9732"), (2e-5, "&lt; 0.0001")])
def test_a_chance_is_never_written_as_certainty(chance: float, written: str) -> None:
    template = Template("{% load amounts %}{{ chance|probability }}")
    assert template.render(Context({"chance": chance})) == written
