"""The result of a check, replacing it, and its working."""

import pytest

from accounts.models import AuditEntry
from accounts.roles import Role
from fleet.models import RatingRevision
from inspections.models import Inspection
from tests import builders
from tests.conftest import Api
from tests.dashboard.taking import ALL_PUT_BACK, CONDITIONS, Taker


@pytest.fixture
def taker(workshop: builders.Workshop) -> Taker:
    return Taker(workshop)


def page_of(taker: Taker, check: Inspection, part: str = "") -> str:
    answer = taker.get(f"checks/{check.uuid}/{part}")
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_a_clear_check_says_so_with_its_action_and_the_source_of_its_limits(taker: Taker) -> None:
    page = page_of(taker, taker.healthy().stored())
    assert "Inside limits" in page
    assert "Good: nothing to do by these readings." in page
    assert "plate (test)" in page
    assert page.count('class="strip ') == 4


def test_the_last_check_stands_beside_each_stage(taker: Taker) -> None:
    taker.healthy().stored()
    page = page_of(taker, taker.healthy().stored())
    assert page.count("36.3 A at 14.0 V") == 4


def test_a_stage_that_the_last_check_left_out_shows_the_check_before(taker: Taker) -> None:
    taker.healthy().stored()
    taker.ready()
    taker.send(not_read="1", reason="Cover seized.")
    for _stage in range(3):
        taker.read(current_a="36.4")
    taker.stored()
    page = page_of(taker, taker.healthy().stored())
    assert page.count("36.3 A at 14.0 V") == 1
    assert page.count("36.4 A at 14.0 V") == 3


@pytest.mark.parametrize(
    ("current_a", "word", "action"),
    [
        ("32.5", "Inside, not certain", "Read again"),
        ("31.5", "Outside, not certain", "Read again"),
        ("25", "Outside limits", "Stop and find the fault."),
    ],
)
def test_each_verdict_carries_its_word_and_one_action(taker: Taker, current_a: str, word: str, action: str) -> None:
    taker.ready()
    taker.read(current_a=current_a)
    for _stage in range(3):
        taker.read()
    page = page_of(taker, taker.stored())
    assert word in page
    assert action in page


def test_a_mistyped_value_is_replaced_once_signed_and_both_stay_with_the_reason(taker: Taker) -> None:
    taker.ready()
    taker.read(current_a="26.3")
    for _stage in range(3):
        taker.read()
    wrong = taker.stored()
    taker.post(f"checks/{wrong.uuid}/replace/mistyped/")
    assert taker.at.endswith("look-over/")
    taker.at = taker.draft("reading/1/")
    taker.read()
    assert list(taker.send(purpose="routine", supersede_reason="").context["form"].errors) == ["supersede_reason"]
    right = taker.stored(supersede_reason="2 typed for 3.")
    assert right.performed_at == wrong.performed_at
    assert "waits to be signed" in page_of(taker, wrong)
    taker.post(f"checks/{right.uuid}/sign/", **ALL_PUT_BACK)
    old = page_of(taker, wrong)
    assert "<del>" in old
    assert f"by {taker.member.user}" in old
    assert "2 typed for 3." in old
    assert "Outside limits" in old
    new = page_of(taker, right)
    assert "<del>" in new
    assert "2 typed for 3." in new
    wrong.refresh_from_db()
    assert wrong.superseded_by == right
    assert wrong.evidence["stage_readings"][0]["current_a"] == "26.3"


def test_the_temperature_of_a_hot_coil_is_added_by_a_replacement(taker: Taker) -> None:
    cold = taker.healthy().stored()
    taker.post(f"checks/{cold.uuid}/replace/coil-was-hot/")
    assert taker.at.endswith("conditions/")
    meters = {"ammeter": taker.workshop.ammeter.uuid, "voltmeter": taker.workshop.voltmeter.uuid}
    taker.send(**meters, **(CONDITIONS | {"coil_temperature_c": "60", "coil_temperature_method": "measured"}))
    form = taker.client.get(taker.address(taker.at)).context["form"]
    assert form["supersede_reason"].value() == "The coil was hot; its temperature is added."
    hot = taker.stored(supersede_reason=form["supersede_reason"].value())
    assert hot.evidence["coil_temperature_c"] == "60"
    assert hot.level_1 is not None
    assert cold.level_1 is not None
    assert hot.level_1 > cold.level_1


def test_another_test_meter_is_named_by_a_replacement(taker: Taker) -> None:
    check = taker.healthy().stored()
    other = builders.meter(taker.organisation, "ammeter", accuracy_percent=1.0)
    taker.post(f"checks/{check.uuid}/replace/wrong-meter/")
    taker.send(ammeter=other.uuid, voltmeter=taker.workshop.voltmeter.uuid, **CONDITIONS)
    assert taker.stored(supersede_reason="The yellow clamp.").ammeter == other


def test_a_repeat_reading_goes_along_unchanged_when_a_check_is_replaced(taker: Taker) -> None:
    document = builders.inspection_document(taker.workshop)
    document["stage_readings"].append({**document["stage_readings"][0], "current_a": 36.5})
    assert Api(taker.organisation).post("inspections/", document).status_code == 201
    taker.post(f"checks/{document['id']}/replace/mistyped/")
    replaced = taker.stored(supersede_reason="Notes were missing.", notes="Ramp two.")
    first = [reading["current_a"] for reading in replaced.evidence["stage_readings"] if reading["stage"] == 1]
    assert first == ["36.3", "36.5"]


def test_not_right_names_who_corrects_a_rating(taker: Taker) -> None:
    manager = builders.member(taker.organisation, Role.MANAGER)
    page = page_of(taker, taker.healthy().stored(), "not-right/")
    assert str(manager.user) in page
    assert page.count('<button class="step">') == 3
    assert "Look at the working" in page


def test_signing_keeps_in_the_audit_stream_what_was_put_back(taker: Taker) -> None:
    check = taker.healthy().stored()
    taker.post(f"checks/{check.uuid}/sign/", **ALL_PUT_BACK)
    entry = AuditEntry.objects.get(action="sign", object_id=check.uuid)
    assert entry.after is not None
    assert entry.after["put_back"] == list(ALL_PUT_BACK)


def test_the_working_shows_the_digits_of_the_verdict(taker: Taker) -> None:
    check = taker.healthy().stored()
    stage = check.judgements.get().result["stages"][0]
    page = page_of(taker, check, "working/")
    assert f"<strong>{stage['normalised_current_a']:.3f} A</strong>" in page
    assert f"<strong>± {stage['expanded_uncertainty_a']:.2f} A</strong>" in page
    assert "degrees of freedom" in page
    assert (
        page.count('<rect class="bar"')
        == len(taker.get(f"checks/{check.uuid}/working/").context["stages"][0]["budget"]) * 4
    )


def test_uncertainty_words_of_the_working_are_nowhere_on_the_result(taker: Taker) -> None:
    page = page_of(taker, taker.healthy().stored())
    assert "degrees of freedom" not in page
    assert "k =" not in page


def test_a_rating_without_a_voltage_gets_a_page_without_figures(db: None) -> None:
    unit = builders.retarder_type
    owner = builders.organisation()
    kind = unit(owner, reference_voltage_v=None, reference_voltage_basis="unknown")
    installation = builders.installation(owner, retarder_type=kind)
    shop = builders.Workshop(owner, installation, builders.meter(owner, "ammeter"), builders.meter(owner, "voltmeter"))
    taker = Taker(shop)
    check = taker.healthy().stored()
    assert check.verdict == "undetermined"
    assert "Ask the manager for the voltage" in page_of(taker, check)
    assert "cannot be held against limits" in page_of(taker, check, "working/")
    assert RatingRevision.objects.of(owner).count() == 1


@pytest.mark.parametrize("part", ["", "not-right/", "working/"])
def test_a_check_of_another_organisation_is_no_page(taker: Taker, part: str) -> None:
    check = taker.healthy().stored()
    stranger = Taker(builders.workshop(), Role.ADMINISTRATOR)
    assert stranger.get(f"checks/{check.uuid}/{part}").status_code == 404
    assert stranger.client.get(f"/{taker.organisation.slug}/checks/{check.uuid}/{part}").status_code == 404


@pytest.mark.parametrize("way", ["sign/", "replace/mistyped/"])
def test_a_check_of_another_organisation_takes_no_form(taker: Taker, way: str) -> None:
    check = taker.healthy().stored()
    stranger = Taker(builders.workshop(), Role.ADMINISTRATOR)
    assert stranger.post(f"checks/{check.uuid}/{way}", **ALL_PUT_BACK).status_code == 404


def test_a_unit_of_another_organisation_cannot_be_checked(taker: Taker) -> None:
    stranger = Taker(builders.workshop())
    assert stranger.get(f"check/start/{taker.workshop.installation.uuid}/").status_code == 404


def test_a_viewer_reads_the_result_and_changes_nothing(taker: Taker) -> None:
    check = taker.healthy().stored()
    viewer = Taker(taker.workshop, Role.VIEWER)
    assert "Before leaving" not in page_of(viewer, check)
    assert '<button class="step">' not in page_of(viewer, check, "not-right/")
    assert viewer.post(f"checks/{check.uuid}/replace/mistyped/").status_code == 403
