"""The optional steps of a check: battery, control check, mechanical survey; what was left stays "not checked"."""

from decimal import Decimal
from typing import Any

import pytest

from accounts.roles import Role
from inspections.services.limits import set_limits
from inspections.services.survey_limits import state_survey_limits
from inspections.survey_items import Item
from tests import builders
from tests.builders import Workshop
from tests.dashboard.taking import Taker

ALL_GOOD = dict.fromkeys(
    (
        *("drivers_lever", "foot_or_pressure_switch", "off_throttle", "cut_out"),
        *("drops_out_at_low_speed", "drops_out_under_abs", "no_stage_at_standstill", "stop_lamps"),
    ),
    "good",
)


@pytest.fixture
def taker(workshop: Workshop) -> Taker:
    return Taker(workshop).healthy()


def parts(taker: Taker) -> dict[str, str]:
    page: Any = taker.get(taker.at)
    return {each["code"]: each["state"] for each in page.context["parts"]}


def sent(taker: Taker, step: str, **fields: str) -> Any:
    """Go to a step from looking over, send it, and come back."""
    assert taker.send(purpose="routine", change=step).status_code == 302
    assert taker.at.endswith(f"/{step}/")
    return taker.send(**fields)


def test_the_plain_way_goes_past_them_and_says_that_nothing_was_checked(taker: Taker) -> None:
    html = taker.get(taker.at).content.decode()
    assert html.count("not checked") == 3
    check = taker.stored()
    assert {"battery", "control_check", "mechanical_survey"} & check.evidence.keys() == set()
    assert {parts(taker)[part] for part in ("charging", "control", "mechanical")} == {"not_checked"}


def test_every_item_good_makes_the_control_check_good(taker: Taker) -> None:
    assert sent(taker, "control", **ALL_GOOD).status_code == 302
    assert "8 good, 0 bad, 0 not checked" in taker.get(taker.at).content.decode()
    check = taker.stored()
    assert check.evidence["control_check"] == ALL_GOOD
    assert parts(taker)["control"] == "good"


def test_one_bad_item_is_the_headline_and_what_was_left_stays_not_checked(taker: Taker) -> None:
    sent(taker, "control", cut_out="bad", stop_lamps="good")
    check = taker.stored()
    assert check.verdict == "fail"
    html = taker.get(taker.at).content.decode()
    assert "Control check, bad: Cut-out." in html
    assert "Item by item" in html
    rows = taker.get(taker.at).context["apart"]["control"]
    states = {row["word"]: row["state"] for row in rows}
    assert (states["Cut-out"], states["Stop lamps"], states["Off-throttle"]) == ("bad", "good", "not_checked")
    working = taker.get(f"checks/{check.uuid}/working/").content.decode()
    assert "Beside the amps" in working
    assert "Cut-out" in working


def test_the_air_gap_is_judged_by_its_numbers(workshop: Workshop, taker: Taker) -> None:
    manager = builders.actor(workshop.organisation, Role.MANAGER)
    limits = {"air_gap": {"lower_limit": Decimal("1.0"), "upper_limit": Decimal("1.6")}}
    state_survey_limits(manager, workshop.installation.retarder.retarder_type, limits, reason="instructions")
    taker.send(purpose="routine", change="mechanical")
    html = taker.get(taker.at).content.decode()
    assert "Limits of this type:" in html
    assert "Air gap: point 4" in html
    assert taker.send(air_gap_1="1,2", air_gap_2="1.30", air_gap_3="wide").status_code == 200
    taker.send(air_gap_1="1,2", air_gap_2="1.30", air_gap_3="1.9", air_gap_4="1.25")
    check = taker.stored()
    assert check.evidence["mechanical_survey"][0]["values"] == ["1.2", "1.30", "1.9", "1.25"]
    assert parts(taker)["mechanical"] == "bad"
    assert "1.2 · 1.30 · 1.9 · 1.25 mm, limits 1.0 to 1.6" in taker.get(taker.at).content.decode()


def test_the_battery_is_held_against_the_alternators_rating(workshop: Workshop, taker: Taker) -> None:
    workshop.installation.vehicle.alternator_rated_a = 90.0
    workshop.installation.vehicle.save()
    taker.send(purpose="routine", change="battery")
    assert "The alternator is rated 90 A." in taker.get(taker.at).content.decode()
    taker.send(at_rest_v="12,7", charging_v="14.1", all_stages_on_v="12.4", after_10_s_v="12.3")
    assert "4 readings" in taker.get(taker.at).content.decode()
    check = taker.stored()
    assert check.evidence["battery"]["alternator_rated_a"] == "90.0"
    assert parts(taker)["charging"] == "bad"
    assert "more than its rated 90" in taker.get(taker.at).content.decode()
    assert "Alternator, rated" in taker.get(f"checks/{check.uuid}/working/").content.decode()


def test_what_was_kept_can_be_changed_and_taken_out_again(taker: Taker) -> None:
    sent(taker, "control", cut_out="bad")
    taker.send(purpose="routine", change="control")
    assert taker.get(taker.at).context["form"]["cut_out"].value() == "bad"
    taker.send(cut_out="not_checked")
    assert taker.get(taker.at).content.decode().count("not checked") == 3
    assert "control_check" not in taker.stored().evidence


def test_the_steps_ask_for_the_books_own_items_and_a_replacement_brings_them_along(
    workshop: Workshop, taker: Taker
) -> None:
    manager = builders.actor(workshop.organisation, Role.MANAGER)
    set_limits(manager, opened=0, control_items=[Item("own_1", name="Horn"), Item("stop_lamps", hidden=True)])
    taker.send(purpose="routine", change="control")
    html = taker.get(taker.at).content.decode()
    assert "Horn" in html
    assert "Stop lamps" not in html
    taker.send(own_1="bad")
    check = taker.stored()
    assert "Control check, bad: Horn." in taker.get(taker.at).content.decode()
    again = taker.post(f"checks/{check.uuid}/replace/mistyped/")
    assert again.status_code == 302, again.content.decode()
    taker.at = taker.draft("look-over/")
    assert "0 good, 1 bad, 7 not checked" in taker.get(taker.at).content.decode()
