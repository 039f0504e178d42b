"""The night finds what loses current, says which, brings the next check nearer, and changes nothing on a second run."""

import datetime as dt
from typing import Any

import pytest

from accounts.roles import Role
from accounts.tenancy import organisation_transaction
from inspections.forecast_fans import fans_of
from inspections.models import Decline, Inspection, Trend
from inspections.services.night import run_night
from inspections.services.rejudging import Terms
from inspections.services.trends import refresh_trends
from tests import builders
from tests.builders import Workshop
from tests.conftest import Api
from tests.inspections.losing_fleet import found_in
from tests.inspections.tables import every_row_of_the_book
from tests.inspections.visits import changes_judged_anew, due_date, recorded

FIRST_VISIT = dt.datetime(2024, 3, 4, 9, 30, tzinfo=dt.UTC)
QUARTER = dt.timedelta(days=91)
VISITS = 10
# Scatter of a workshop's readings, in percent: invented, the same for every test.
SCATTER = [0.3, -0.4, 0.1, 0.5, -0.2, -0.5, 0.4, 0.0, -0.1, 0.2]


def readings(visit: int, *, stage_3_loses_percent: float = 0.0, all_lose_percent: float = 0.0) -> list[dict[str, Any]]:
    """Return a single pass of the unit, 35.5 A at 14.0 V, with what it has lost by now."""
    rows = []
    for stage in range(1, 5):
        lost = all_lose_percent + (stage_3_loses_percent if stage == 3 else 0.0)
        level = 1.0 - lost / 100 + SCATTER[(visit + 3 * stage) % VISITS] / 100
        rows.append(
            {"stage": stage, "energised": [stage], "supply_voltage_v": 14.0, "current_a": round(35.5 * level, 1)}
        )
    return rows


def told(of: Workshop, per_visit_percent: float = 0.0, from_visit: int = 4) -> list[Inspection]:
    """Record a visit a quarter; stage 3 loses so much from one visit to the next, from a visit on."""
    technician = builders.actor(of.organisation)
    return [
        recorded(
            of,
            (FIRST_VISIT + visit * QUARTER).isoformat(),
            by=technician,
            stage_readings=readings(visit, stage_3_loses_percent=per_visit_percent * max(0, visit - from_visit + 1)),
        ).inspection
        for visit in range(VISITS)
    ]


def night(of: Workshop, visits: list[Inspection]) -> None:
    run_night(as_of=visits[-1].performed_at + dt.timedelta(days=1))


def test_a_stage_that_loses_current_is_found_by_its_number(workshop: Workshop) -> None:
    visits = told(workshop, per_visit_percent=2.0)
    night(workshop, visits)
    decline = Decline.objects.get(installation=workshop.installation)
    assert (decline.attribution, decline.stage, decline.rising) == ("stage", 3, False)
    assert decline.state in ("watched", "confirmed")
    assert decline.raised_by in visits[4:]


def test_a_healthy_unit_raises_nothing_and_still_has_its_trend(workshop: Workshop) -> None:
    night(workshop, told(workshop))
    assert not Decline.objects.filter(installation=workshop.installation).exists()
    trend = Trend.objects.get(installation=workshop.installation)
    assert [stage["declining"] for stage in trend.stages] == [False] * 4
    assert all(abs(stage["slope_percent_per_year"]) < 1 for stage in trend.stages)


def test_a_second_night_changes_no_row(workshop: Workshop) -> None:
    visits = told(workshop, per_visit_percent=2.0)
    night(workshop, visits)
    before = every_row_of_the_book()
    night(workshop, visits)
    assert every_row_of_the_book() == before


def test_the_next_check_comes_nearer_than_its_plan_says(workshop: Workshop) -> None:
    builders.check_plan(workshop.installation, months=24)
    visits = told(workshop, per_visit_percent=1.2)
    planned = due_date(workshop).due_on
    night(workshop, visits)
    brought_forward = due_date(workshop)
    assert planned is not None
    assert brought_forward.due_on is not None
    assert brought_forward.limb == "trend"
    assert visits[-1].performed_on <= brought_forward.due_on < planned


def test_a_due_date_that_is_near_is_not_put_off(workshop: Workshop) -> None:
    builders.check_plan(workshop.installation, days=5)
    night(workshop, told(workshop, per_visit_percent=1.2))
    assert due_date(workshop).limb == "days"


def test_a_decline_whose_visits_are_replaced_is_withdrawn_and_not_deleted(workshop: Workshop) -> None:
    visits = told(workshop, per_visit_percent=2.0)
    night(workshop, visits)
    technician = builders.actor(workshop.organisation)
    for number, visit in enumerate(visits):
        if number >= 4:
            recorded(
                workshop,
                visit.performed_at.isoformat(),
                by=technician,
                stage_readings=readings(number),
                supersedes=str(visit.uuid),
                supersede_reason="wrong unit",
            )
    night(workshop, visits)
    decline = Decline.objects.get(installation=workshop.installation)
    assert (decline.state, decline.reason) == ("withdrawn", "series_changed")


def test_an_unsigned_visit_says_nothing_yet(workshop: Workshop) -> None:
    visits = told(workshop)
    night(workshop, visits)
    before = Trend.objects.filter(installation=workshop.installation).values().get()
    recorded(workshop, (FIRST_VISIT + VISITS * QUARTER).isoformat(), sign=False)
    assert refresh_trends(workshop.organisation).fitted == 0
    assert Trend.objects.filter(installation=workshop.installation).values().get() == before


@pytest.mark.parametrize("per_visit_percent", [0.0, 2.0])
def test_the_trend_is_answered_with_points_slope_and_crossing(
    workshop: Workshop, api: Api, per_visit_percent: float
) -> None:
    night(workshop, told(workshop, per_visit_percent=per_visit_percent))
    answer = api.get(f"installations/{workshop.installation.uuid}/trend/").json()
    third = answer["stages"][2]
    assert len(third["points"]) == VISITS
    assert third["declining"] is (per_visit_percent > 0)
    assert (answer["attribution"] == "stage") is (per_visit_percent > 0)
    assert third["slope_low"] <= third["slope_percent_per_year"] <= third["slope_high"]
    assert (third["crosses_earliest_on"] is not None) is (per_visit_percent > 0)


@pytest.mark.parametrize("per_visit", [0.0, 1.2])
def test_only_what_loses_current_has_a_fan_and_it_begins_at_the_last_check(
    workshop: Workshop, per_visit: float
) -> None:
    visits = told(workshop, per_visit_percent=per_visit)
    night(workshop, visits)
    fans = fans_of(workshop.installation)
    assert set(fans) == ({3} if per_visit else set())
    for fan in fans.values():
        assert abs((fan[0].on - visits[-1].performed_on).days) <= 1
        assert list(fan[0].levels_percent) == sorted(fan[0].levels_percent)
        assert fan[-1].levels_percent[2] < fan[0].levels_percent[2]


def test_a_repair_resolves_the_decline_and_begins_a_new_baseline(workshop: Workshop) -> None:
    visits = told(workshop, per_visit_percent=2.0)
    night(workshop, visits)
    technician = builders.actor(workshop.organisation)
    at = (FIRST_VISIT + VISITS * QUARTER).isoformat()
    recorded(workshop, at, by=technician, purpose="first", stage_readings=readings(0))
    refresh_trends(workshop.organisation)
    decline = Decline.objects.get(installation=workshop.installation)
    assert (decline.state, decline.reason) == ("resolved", "repaired")
    trend = Trend.objects.get(installation=workshop.installation)
    assert trend.attribution is None
    assert [stage["declining"] for stage in trend.stages] == [False] * 4
    assert [stage["slope_percent_per_year"] for stage in trend.stages] == [None] * 4


def test_a_check_that_arrives_late_ends_like_one_in_time(workshop: Workshop) -> None:
    other = builders.workshop()
    late = 6
    for of, order in (
        (other, range(VISITS)),
        (workshop, [*range(late), *range(late + 1, VISITS), late]),
    ):
        with organisation_transaction(of.organisation):
            technician = builders.actor(of.organisation)
            for visit in order:
                at = (FIRST_VISIT + visit * QUARTER).isoformat()
                rows = readings(visit, stage_3_loses_percent=2.0 * max(0, visit - 3))
                if of is workshop and visit == late:
                    assert refresh_trends(of.organisation).fitted == 1
                recorded(of, at, by=technician, stage_readings=rows)
        assert refresh_trends(of.organisation).fitted == 1
    assert found_in(workshop.organisation)[0] == found_in(other.organisation)[0]


def test_evidence_alone_changes_a_state_and_not_the_passing_of_time(workshop: Workshop) -> None:
    visits = told(workshop, per_visit_percent=2.0)
    night(workshop, visits)
    before = found_in(workshop.organisation)
    run_night(as_of=visits[-1].performed_at + dt.timedelta(days=400))
    assert found_in(workshop.organisation) == before


def test_checks_judged_anew_are_fitted_anew(workshop: Workshop) -> None:
    visits = told(workshop)
    night(workshop, visits)
    (before,) = Trend.objects.filter(installation=workshop.installation)
    manager = builders.actor(workshop.organisation, Role.MANAGER)
    terms = Terms(reason="clamp found reading high", corrections={"ammeter_gain_percent": "5"})
    changes_judged_anew(manager, terms, meter=str(workshop.ammeter.uuid))
    assert refresh_trends(workshop.organisation).fitted == 1
    (after,) = Trend.objects.filter(installation=workshop.installation)
    for old, new in zip(before.stages, after.stages, strict=True):
        assert new["level_percent"] == pytest.approx(old["level_percent"] / 1.05, abs=0.1)
