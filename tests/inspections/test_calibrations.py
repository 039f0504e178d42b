"""Whether a meter's calibration was valid on the day, what a verdict says of it, and what is looked back on.

A calibration counts on the day of the measurement, not of its arrival, and the day it is due is its last valid one
(common practice, no source).
"""

import datetime as dt
from dataclasses import replace
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest

from accounts.errors import Conflict, Refused
from accounts.roles import Role
from inspections.calibrations import calibration_fault, looked_back_on
from inspections.models import Calibration, Inspection, Rejudging, TrendNews
from inspections.services import rejudging_runs
from inspections.services.calibrations import record_calibration
from inspections.services.doubt import JudgedInDoubt, rejudge_in_doubt
from inspections.services.meters import change_meter
from inspections.services.rejudging import Terms
from inspections.services.rejudging_runs import judge_anew_at_once, run_asked_rejudgings
from tests import builders
from tests.builders import Workshop
from tests.inspections.visits import recorded

RANGE = {"range_max": 40.0, "accuracy_percent": 1.5, "accuracy_counts": 5.0, "resolution": 0.01}
DONE_ON, DUE_ON = dt.date(2025, 7, 31), dt.date(2026, 7, 31)


def calibrated(of: Workshop, **columns: Any) -> Calibration:
    manager = builders.actor(of.organisation, Role.MANAGER)
    dates = {"performed_on": DONE_ON, "due_on": DUE_ON} | columns
    return record_calibration(manager, of.ammeter, **dates)


def codes(of: Workshop, performed_at: str) -> list[tuple[str, str, str]]:
    findings = recorded(of, performed_at).result["findings"]
    found = [each for each in findings if each["code"] == "calibration_not_valid"]
    return [(each["severity"], each["params"]["meter"], each["params"]["fault"]) for each in found]


@pytest.mark.parametrize(
    ("on", "fault"),
    [
        (dt.date(2025, 7, 30), "missing"),
        (dt.date(2026, 7, 31), None),
        (dt.date(2026, 8, 1), "expired"),
    ],
)
def test_the_day_of_the_measurement_decides(workshop: Workshop, on: dt.date, fault: str | None) -> None:
    calibrated(workshop)
    workshop.ammeter.calibration_due_on = None
    assert calibration_fault(workshop.ammeter, on) == fault


def test_the_local_date_of_the_depot_decides(workshop: Workshop) -> None:
    calibrated(workshop)
    voltmeter_alone = [("caution", "voltmeter", "missing")]
    assert codes(workshop, "2026-07-31T23:30:00+01:00") == voltmeter_alone
    assert codes(workshop, "2026-08-01T00:10:00+01:00") == [("caution", "ammeter", "expired"), *voltmeter_alone]


def test_a_clamp_found_out_of_tolerance_is_no_clamp_to_judge_by(workshop: Workshop) -> None:
    calibrated(workshop, passed=False)
    assert ("caution", "ammeter", "failed") in codes(workshop, "2026-03-02T09:30:00Z")


def test_a_verdict_is_marked_or_withheld_as_the_organisation_has_it(workshop: Workshop) -> None:
    marked = recorded(workshop).result
    assert marked["verdict"] == "pass"
    workshop.organisation.calibration_required = True
    workshop.organisation.save(update_fields=["calibration_required"])
    withheld = recorded(workshop, "2026-03-03T09:30:00Z").result
    assert withheld["verdict"] == "undetermined"
    assert {reason["code"] for reason in withheld["verdict_reasons"]} == {"calibration_not_valid"}


def test_an_old_record_keeps_the_certificate_of_its_day(workshop: Workshop) -> None:
    calibrated(workshop, certificate="sheet one")
    stored = recorded(workshop).inspection
    calibrated(workshop, performed_on=dt.date(2026, 6, 1), due_on=None, certificate="sheet two")
    stored.refresh_from_db()
    assert stored.evidence["certificates"] == {"ammeter": "sheet one"}


def test_a_failed_calibration_looks_back_to_the_last_good_one(workshop: Workshop) -> None:
    calibrated(workshop, performed_on=dt.date(2025, 1, 15), due_on=None)
    visits = [
        recorded(workshop, f"{day}T09:30:00Z").inspection
        for day in ("2025-01-15", "2025-01-16", "2025-09-10", "2025-09-11")
    ]
    failed = calibrated(workshop, performed_on=dt.date(2025, 9, 10), due_on=None, passed=False)
    assert set(looked_back_on(failed)) == {visits[1], visits[2]}


def point(applied: str, shown: str) -> dict[str, Decimal]:
    return {"applied": Decimal(applied), "shown": Decimal(shown)}


FOUND_HIGH, ADJUSTED = [point("0", "0.0"), point("100.0", "118.5")], [point("100.0", "100.4")]


def test_what_nobody_states_follows_from_the_values_as_found_and_as_left(workshop: Workshop) -> None:
    row = calibrated(workshop, as_found=FOUND_HIGH, as_left=ADJUSTED)
    assert (row.found_in_tolerance, row.passed) == (False, True)
    assert row.as_found is not None
    assert row.as_found[1] == {"applied": "100.0", "shown": "118.5"}
    untouched = calibrated(workshop, performed_on=dt.date(2026, 8, 1), due_on=None, as_found=FOUND_HIGH)
    assert (untouched.found_in_tolerance, untouched.passed) == (False, False)
    good = calibrated(workshop, performed_on=dt.date(2026, 8, 31), due_on=None, as_found=ADJUSTED)
    assert (good.found_in_tolerance, good.passed) == (True, True)
    said = calibrated(workshop, performed_on=dt.date(2026, 9, 30), due_on=None, passed=False)
    assert (said.found_in_tolerance, said.passed) == (False, False)


def test_an_adjusted_clamp_is_good_from_then_on_and_throws_doubt_on_what_was_before(workshop: Workshop) -> None:
    before = recorded(workshop, "2026-01-02T09:30:00Z").inspection
    row = calibrated(workshop, performed_on=dt.date(2026, 3, 1), as_found=FOUND_HIGH, as_left=ADJUSTED)
    assert set(looked_back_on(row)) == {before}
    assert calibration_fault(workshop.ammeter, dt.date(2026, 3, 2)) is None


@pytest.mark.parametrize(
    ("stated", "place"),
    [
        ({"as_found": FOUND_HIGH, "found_in_tolerance": True}, "found_in_tolerance"),
        ({"as_found": ADJUSTED, "found_in_tolerance": False}, "found_in_tolerance"),
        ({"as_left": FOUND_HIGH, "passed": True}, "passed"),
        ({"as_left": ADJUSTED, "passed": False}, "passed"),
    ],
)
def test_an_outcome_against_its_own_values_is_refused(workshop: Workshop, stated: dict[str, Any], place: str) -> None:
    with pytest.raises(Refused) as refused:
        calibrated(workshop, **stated)
    assert [fault.path for fault in refused.value.faults] == [(place,)]
    assert not Calibration.objects.exists()


def test_the_same_certificate_sent_again_is_kept_once(workshop: Workshop) -> None:
    uuid = uuid4()
    once = calibrated(workshop, uuid=uuid, as_found=FOUND_HIGH)
    assert calibrated(workshop, uuid=uuid, as_found=FOUND_HIGH) == once
    with pytest.raises(Conflict):
        calibrated(workshop, uuid=uuid)


def test_checks_in_doubt_are_judged_anew_with_the_error_as_found_and_only_once(workshop: Workshop) -> None:
    visits = [recorded(workshop, f"2026-0{month}-02T09:30:00Z", verdict="fail").inspection for month in (1, 2)]
    later = recorded(workshop, "2026-04-02T09:30:00Z", verdict="fail").inspection
    row = calibrated(workshop, performed_on=dt.date(2026, 3, 1), as_found=FOUND_HIGH, as_left=ADJUSTED)
    manager = builders.actor(workshop.organisation, Role.MANAGER)
    done = rejudge_in_doubt(manager, row, reason="clamp found high")
    assert (done.judged, done.left, done.changes) == (2, 0, {("fail", "pass"): 2})
    newest = {check.pk: check.judgements.order_by("-number")[0] for check in [*visits, later]}
    assert all(newest[check.pk].corrections["ammeter_gain_percent"] == "18.5" for check in visits)
    assert newest[later.pk].number == 1
    assert rejudge_in_doubt(manager, row, reason="clamp found high").judged == 0
    other = rejudge_in_doubt(manager, row, reason="certificate read again", gain_percent=Decimal("18"))
    assert other.judged == 2


def gains_stood_on(check: Inspection) -> list[str]:
    return [each.corrections.get("ammeter_gain_percent", "") for each in check.judgements.order_by("number")]


def test_what_stands_on_another_error_by_now_is_judged_with_the_first_one_again(workshop: Workshop) -> None:
    check = recorded(workshop, "2026-01-02T09:30:00Z", verdict="fail").inspection
    row = calibrated(workshop, performed_on=dt.date(2026, 3, 1), passed=False)
    manager = builders.actor(workshop.organisation, Role.MANAGER)
    for typed in ("5", "3", "5"):
        assert rejudge_in_doubt(manager, row, reason="read again", gain_percent=Decimal(typed)).judged == 1
    assert gains_stood_on(check) == ["", "5", "3", "5"]


def test_the_same_error_is_the_same_however_it_is_typed(workshop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    check = recorded(workshop, "2026-01-02T09:30:00Z", verdict="fail").inspection
    points = [point("0", "0.1"), point("90.0", "93.1")]
    row = calibrated(workshop, performed_on=dt.date(2026, 3, 1), as_found=points, as_left=ADJUSTED)
    manager = builders.actor(workshop.organisation, Role.MANAGER)
    assert rejudge_in_doubt(manager, row, reason="clamp found high").judged == 1
    assert gains_stood_on(check) == ["", "3.333333"]
    prefilled = {"gain_percent": Decimal("3.333333"), "zero": Decimal("0.100000")}
    assert rejudge_in_doubt(manager, row, reason="as the page says it", **prefilled).judged == 0
    in_the_background(monkeypatch)
    assert rejudge_in_doubt(manager, row, reason="by hand", gain_percent=Decimal("4")).left == 1
    assert rejudge_in_doubt(manager, row, reason="by hand", gain_percent=Decimal("4.00")).left == 1
    assert Rejudging.objects.filter(organisation=workshop.organisation).count() == 2


@pytest.mark.parametrize(
    "terms",
    [
        Terms(reason="plate read again"),
        Terms(reason="simple", decision_rule="simple", corrections={"ammeter_gain_percent": "18.50"}),
        Terms(reason="wider", tolerance_upper_percent=12.0, corrections={"ammeter_gain_percent": "18.5"}),
    ],
)
def test_what_a_calibration_doubts_is_judged_anew_under_other_terms_though_it_stands_on_the_error(
    workshop: Workshop, terms: Terms
) -> None:
    recorded(workshop, "2026-01-02T09:30:00Z", verdict="fail")
    row = calibrated(workshop, performed_on=dt.date(2026, 3, 1), as_found=FOUND_HIGH, as_left=ADJUSTED)
    manager = builders.actor(workshop.organisation, Role.MANAGER)
    rejudge_in_doubt(manager, row, reason="clamp found high")
    assert judge_anew_at_once(manager, selection={"calibration": row.uuid}, terms=terms).judged == 1
    correcting = Terms(reason="once more", corrections={"ammeter_gain_percent": "18.50"})
    with pytest.raises(Refused, match="each stands on this error already"):
        judge_anew_at_once(manager, selection={"calibration": row.uuid}, terms=correcting)


def in_the_background(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rejudging_runs, "AT_ONCE", 0)
    monkeypatch.setattr(rejudging_runs, "CHUNK", 1)


def test_many_checks_in_doubt_are_judged_in_the_background_as_one_set_however_often_it_is_asked(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    visits = [recorded(workshop, f"2026-0{month}-02T09:30:00Z", verdict="fail").inspection for month in (1, 2)]
    row = calibrated(workshop, performed_on=dt.date(2026, 3, 1), as_found=FOUND_HIGH, as_left=ADJUSTED)
    manager = builders.actor(workshop.organisation, Role.MANAGER)
    in_the_background(monkeypatch)
    asked = [rejudge_in_doubt(manager, row, reason="clamp found high") for _time in range(2)]
    assert [(done.judged, done.left) for done in asked] == [(0, 2), (0, 2)]
    assert asked[0].run == asked[1].run
    with pytest.raises(Conflict):
        rejudge_in_doubt(manager, row, reason="read again", gain_percent=Decimal("18"))
    assert run_asked_rejudgings() == 1
    assert {check.judgements.count() for check in visits} == {2}
    assert rejudge_in_doubt(manager, row, reason="clamp found high") == JudgedInDoubt(None, 0, 0, {})


def test_nothing_is_left_once_a_set_is_done_though_another_set_judged_some_of_it_meanwhile(
    workshop: Workshop,
) -> None:
    visits = [recorded(workshop, f"2026-0{month}-02T09:30:00Z", verdict="fail").inspection for month in (1, 2)]
    row = calibrated(workshop, performed_on=dt.date(2026, 3, 1), as_found=FOUND_HIGH, as_left=ADJUSTED)
    manager = builders.actor(workshop.organisation, Role.MANAGER)
    with pytest.MonkeyPatch.context() as patched:
        in_the_background(patched)
        rejudge_in_doubt(manager, row, reason="clamp found high")
    with_it = Terms(reason="the unit alone", corrections={"ammeter_gain_percent": "18.5", "ammeter_zero_a": "0"})
    february = {"meter": workshop.ammeter.uuid, "since": "2026-02-01"}
    judge_anew_at_once(manager, selection=february, terms=with_it)
    done = rejudge_in_doubt(manager, row, reason="clamp found high")
    assert (done.judged, done.left) == (1, 0)
    assert {check.judgements.count() for check in visits} == {2}


def test_what_was_judged_with_the_found_error_before_a_set_was_killed_is_not_judged_so_again(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    visits = [recorded(workshop, f"2026-0{month}-02T09:30:00Z", verdict="fail").inspection for month in (1, 2)]
    row = calibrated(workshop, performed_on=dt.date(2026, 3, 1), as_found=FOUND_HIGH, as_left=ADJUSTED)
    manager = builders.actor(workshop.organisation, Role.MANAGER)
    in_the_background(monkeypatch)
    run = rejudge_in_doubt(manager, row, reason="clamp found high").run
    assert run is not None
    rejudging_runs._claimed(run)
    rejudging_runs._one_chunk(workshop.organisation, run)
    # Its runner is gone for good, and somebody writes the set off.
    Rejudging.objects.filter(pk=run.pk).update(state="done")
    again = rejudge_in_doubt(manager, row, reason="clamp found high")
    assert again.left == 1
    assert run_asked_rejudgings() == 1
    assert {check.judgements.count() for check in visits} == {2}


def test_a_calibration_entered_late_puts_what_was_read_with_the_clamp_since_on_the_nights_list(
    workshop: Workshop,
) -> None:
    recorded(workshop, "2026-01-02T09:30:00Z")
    other = builders.installation(workshop.organisation)
    recorded(replace(workshop, installation=other), "2026-02-02T09:30:00Z")
    TrendNews.objects.all().delete()
    calibrated(workshop, performed_on=dt.date(2026, 3, 1))
    assert not TrendNews.objects.exists()
    calibrated(workshop, performed_on=dt.date(2026, 2, 2))
    assert list(TrendNews.objects.values_list("retarder", flat=True)) == [other.retarder_id]


def test_doubt_needs_an_error_and_a_meter_that_was_found_wrong(workshop: Workshop) -> None:
    manager = builders.actor(workshop.organisation, Role.MANAGER)
    failed = calibrated(workshop, passed=False)
    with pytest.raises(Refused) as refused:
        rejudge_in_doubt(manager, failed, reason="why not")
    assert refused.value.faults[0].path == ("gain_percent",)
    with pytest.raises(Refused) as refused:
        rejudge_in_doubt(manager, failed, reason="why not", gain_percent=Decimal("250.0"))
    (fault,) = refused.value.faults
    assert (fault.path, fault.detail.split(";")[0]) == (("gain_percent",), "250 is out of range")
    good = calibrated(workshop, performed_on=dt.date(2026, 1, 1))
    with pytest.raises(Refused) as refused:
        rejudge_in_doubt(manager, good, reason="why not", gain_percent=Decimal(1))
    assert refused.value.faults[0].code == "not_in_doubt"


def test_a_verdict_needs_a_reading_inside_the_largest_range(workshop: Workshop) -> None:
    manager = builders.actor(workshop.organisation, Role.MANAGER)
    change_meter(manager, workshop.ammeter, ranges=[RANGE])
    result = recorded(workshop, stage_readings=builders.single_pass(40.5)).result
    assert result["verdict"] == "undetermined"
    assert {stage["undetermined_reason"] for stage in result["stages"]} == {"over_range"}
    assert recorded(workshop, "2026-03-03T09:30:00Z").result["verdict"] == "pass"


@pytest.mark.parametrize(
    ("figures", "place"),
    [
        ({"ranges": [RANGE | {"range_max": 400.0}, RANGE]}, "ranges"),
        ({"ranges": [RANGE | {"resolution": 0.0}]}, "ranges"),
        ({"ranges": [{"range_max": 40.0}]}, "ranges"),
        ({"ranges": [RANGE], "accuracy_percent": 9.0}, "accuracy_percent"),
        ({"accuracy_percent": None, "ranges": []}, "accuracy_percent"),
    ],
)
def test_an_accuracy_that_cannot_be_is_refused_at_its_place(
    workshop: Workshop, figures: dict[str, Any], place: str
) -> None:
    manager = builders.actor(workshop.organisation, Role.MANAGER)
    with pytest.raises(Refused) as refused:
        change_meter(manager, workshop.ammeter, **figures)
    assert refused.value.faults[0].path == (place,)
