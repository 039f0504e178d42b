"""Supply, battery, rest current, resistances, truth table, control check and mechanical survey: each on its own."""

from dataclasses import replace

import pytest

from calc.apart.parts import PARTS
from calc.evidence import Evidence, RelayBox, RestReading, StageReading
from calc.evidence_apart import CONTROL_ITEMS, MECHANICAL_ITEMS, ApartEvidence, BatteryReadings, Limits, SurveyItem
from calc.judgement import Judgement
from tests.calc.builders import evidence, read_alone
from tests.calc.examples import A_HEALTHY, A_LOW, TWELVE_VOLT, V_HEALTHY, V_LOW, codes, cumulative, judge


def test_what_nobody_looked_at_is_not_checked_and_lowers_nothing() -> None:
    judgement = judge(evidence())
    assert tuple(judgement.apart) == PARTS
    assert {part for part, state in judgement.apart.items() if state != "not_checked"} == {"rest_current"}
    assert judgement.verdict == "pass"


@pytest.mark.parametrize(("low_v", "state"), [(13.0, "good"), (13.09, "good"), (13.1, "bad"), (None, "not_checked")])
def test_the_supply_under_load_is_held_against_the_users_limit(low_v: float | None, state: str) -> None:
    visit = cumulative(V_HEALTHY, A_HEALTHY, apart=ApartEvidence(Limits(supply_voltage_low_v=low_v)))
    judgement = judge(visit)
    assert judgement.apart["supply"] == state
    assert ("supply_voltage_low" in codes(judgement)) == (state == "bad")
    assert judgement.verdict == ("fail" if state == "bad" else "pass")


def test_with_the_engine_off_the_supply_is_not_checked() -> None:
    limits = ApartEvidence(Limits(supply_voltage_low_v=13.5))
    assert judge(cumulative(V_LOW, A_LOW, apart=limits, engine_state="off")).apart["supply"] == "not_checked"


def test_a_supply_is_not_good_before_all_stages_were_on_and_bad_as_soon_as_one_pulls_it_down() -> None:
    def supply(volts: float) -> str:
        limits = ApartEvidence(Limits(supply_voltage_low_v=13.0))
        return judge(evidence((read_alone(1, 36.3, volts),), engine_state="idle", apart=limits)).apart["supply"]

    assert (supply(13.5), supply(12.9)) == ("not_checked", "bad")


def test_a_supply_over_the_users_upper_limit_is_bad() -> None:
    visit = cumulative(V_HEALTHY, A_HEALTHY, apart=ApartEvidence(Limits(supply_voltage_high_v=13.5)))
    assert judge(visit).apart["supply"] == "bad"


SOUND = BatteryReadings(12.7, 14.1, 13.6, 13.5, 180.0)


def charging(battery: BatteryReadings, **changes: object) -> tuple[str, set[str]]:
    judgement = judge(cumulative(V_HEALTHY, A_HEALTHY, apart=ApartEvidence(battery=battery), **changes))
    named = {"battery", "alternator", "charging", "cable"}
    return judgement.apart["charging"], {code for code in codes(judgement) if code.split("_")[0] in named}


@pytest.mark.parametrize(
    ("battery", "changes", "state", "limits"),
    [
        (SOUND, {}, "good", set()),
        (BatteryReadings(at_rest_v=12.7), {}, "not_checked", set()),
        (replace(SOUND, at_rest_v=11.9), {}, "bad", {"battery_limits"}),
        (replace(SOUND, charging_v=12.8), {}, "bad", {"charging_voltage_low"}),
        (replace(SOUND, charging_v=16.2), {}, "bad", {"charging_voltage_high"}),
        (
            replace(SOUND, all_stages_on_v=12.4, after_10_s_v=12.3),
            {"engine_state": "high_idle"},
            "bad",
            {"alternator_limits"},
        ),
        (replace(SOUND, all_stages_on_v=12.4, after_10_s_v=12.3), {}, "not_checked", {"alternator_limits_at_idle"}),
        (
            replace(SOUND, all_stages_on_v=12.4, after_10_s_v=12.3, alternator_rated_a=90.0),
            {},
            "bad",
            {"alternator_too_small"},
        ),
        (replace(SOUND, after_10_s_v=13.0), {}, "bad", {"battery_falls_under_load"}),
        (replace(SOUND, all_stages_on_v=14.1, after_10_s_v=14.0), {}, "bad", {"cable_limits"}),
        (replace(SOUND, all_stages_on_v=12.4, after_10_s_v=12.3), {"engine_state": "off"}, "good", set()),
    ],
)
def test_battery_alternator_or_cables_are_named_as_what_limits(
    battery: BatteryReadings, changes: dict[str, object], state: str, limits: set[str]
) -> None:
    assert charging(battery, **changes) == (state, limits)


def test_a_24_volt_system_has_twice_the_volts_to_lose() -> None:
    unit = replace(TWELVE_VOLT, reference_voltage_v=24.0, system_voltage_v=24.0)
    doubled = tuple(2 * volts for volts in V_HEALTHY)
    battery = BatteryReadings(25.4, 28.2, 27.2, 27.0, 180.0)
    visit = cumulative(doubled, A_HEALTHY, rating=unit, apart=ApartEvidence(battery=battery))
    assert judge(visit).apart["charging"] == "good"


@pytest.mark.parametrize(
    ("rest", "state"),
    [
        (RestReading(14.2, 0.2), "good"),
        (RestReading(14.2, 3.0), "good"),
        (RestReading(13.4, 35.5), "bad"),
        (RestReading(14.2, -9.0), "not_checked"),
        (None, "not_checked"),
    ],
)
def test_a_rest_current_beyond_the_meters_zero_is_bad(rest: RestReading | None, state: str) -> None:
    assert judge(evidence(rest=rest)).apart["rest_current"] == state


def table(live: tuple[tuple[int, ...] | None, ...], lit: tuple[tuple[int, ...] | None, ...]) -> Evidence:
    readings = tuple(
        StageReading(k, (k,), 14.0, 36.3, outputs_live=outputs, lamps_lit=lamps)
        for k, (outputs, lamps) in enumerate(zip(live, lit, strict=True), start=1)
    )
    return evidence(readings, relay_box=RelayBox(lamps=4))


def test_a_truth_table_is_good_once_every_input_was_looked_at() -> None:
    every = ((1,), (2,), (3,), (4,))
    whole = judge(table(every, every))
    assert (whole.apart["outputs"], whole.apart["lamps"]) == ("good", "good")
    partly = judge(table((*every[:3], None), (*every[:3], None)))
    assert (partly.apart["outputs"], partly.apart["lamps"]) == ("not_checked", "not_checked")


def test_one_wrong_output_or_lamp_makes_its_table_bad_and_the_unit_fail() -> None:
    every = ((1,), (2,), (3,), (4,))
    crossed = judge(table(((1,), (2,), (4,), (3,)), every))
    assert (crossed.apart["outputs"], crossed.apart["lamps"], crossed.verdict) == ("bad", "good", "fail")
    dark = judge(table(every, ((1,), (2,), (3,), ())))
    assert (dark.apart["outputs"], dark.apart["lamps"], dark.verdict) == ("good", "bad", "fail")


def test_lamps_of_which_it_is_not_known_what_they_show_are_not_checked() -> None:
    visit = replace(table(((1,),) * 4, ((1,),) * 4), relay_box=RelayBox(lamps=2))
    assert judge(visit).apart["lamps"] == "not_checked"


def test_a_control_check_is_good_only_when_every_item_is() -> None:
    def control(**states: object) -> Judgement:
        items = {**dict.fromkeys(CONTROL_ITEMS, "good"), **states}
        return judge(evidence(apart=ApartEvidence(control_check=items)))  # type: ignore[arg-type]

    assert control().apart["control"] == "good"
    assert control(stop_lamps="not_checked").apart["control"] == "not_checked"
    bad = control(cut_out="bad", drops_out_under_abs="bad")
    assert (bad.apart["control"], bad.verdict, bad.action) == ("bad", "fail", "find_the_fault")
    items = [finding.params["item"] for finding in bad.findings if finding.code == "control_item_bad"]
    assert items == ["cut_out", "drops_out_under_abs"]


def test_the_list_of_items_is_the_organisations_to_edit() -> None:
    own = ApartEvidence(control_check={"horn": "good"}, control_items=("horn",))
    assert judge(evidence(apart=own)).apart["control"] == "good"


GAP = SurveyItem("air_gap", values=(1.2, 1.3, 1.25, 1.4), lower_limit=1.0, upper_limit=1.4)


@pytest.mark.parametrize(
    ("item", "state"),
    [
        (GAP, "good"),
        (replace(GAP, values=(1.2, 1.3, 1.25, 1.41)), "bad"),
        (replace(GAP, values=(0.99, 1.3, 1.25, 1.3)), "bad"),
        (replace(GAP, status="bad"), "bad"),
        (replace(GAP, lower_limit=None, upper_limit=None), "not_checked"),
        (replace(GAP, lower_limit=None, upper_limit=None, status="good"), "good"),
        (replace(GAP, values=(1.2, 1.3), lower_limit=None), "good"),
    ],
)
def test_numbers_are_judged_by_the_types_limits_and_limits_belong_to_acceptance(item: SurveyItem, state: str) -> None:
    others = tuple(SurveyItem(code, "good") for code in MECHANICAL_ITEMS if code != "air_gap")
    assert judge(evidence(apart=ApartEvidence(mechanical_survey=(item, *others)))).apart["mechanical"] == state


def test_the_number_furthest_outside_is_named_with_its_limits() -> None:
    item = replace(GAP, values=(0.7, 1.3, 1.9, 1.3))
    judgement = judge(evidence(apart=ApartEvidence(mechanical_survey=(item,))))
    (finding,) = [finding for finding in judgement.findings if finding.code == "survey_number_outside"]
    assert finding.params == {"item": "air_gap", "value": 1.9, "lower_limit": 1.0, "upper_limit": 1.4}


def test_an_item_named_twice_is_as_bad_as_its_worst() -> None:
    survey = (SurveyItem("rotor", "bad"), SurveyItem("rotor", "good"))
    assert judge(evidence(apart=ApartEvidence(mechanical_survey=survey))).apart["mechanical"] == "bad"


def test_the_headline_is_the_worst_however_good_the_amps_are() -> None:
    judgement = judge(evidence(apart=ApartEvidence(mechanical_survey=(SurveyItem("mounts", "bad"),))))
    assert {stage.verdict for stage in judgement.stages} == {"pass"}
    assert judgement.verdict == "fail"
    assert [reason.code for reason in judgement.verdict_reasons] == ["survey_item_bad"]
