"""What the stored checks of a unit let its trend see, and how many flags a book has."""

import datetime as dt

import pytest
from django.utils import timezone

from calc.trend import slowest_visible_loss
from inspections.models import Decline, Inspection
from inspections.trend_expectations import flag_counts, trend_promise
from tests import builders
from tests.builders import Workshop
from tests.conftest import Api

# Expanded (k = 2) and standard uncertainties in hundredths of a percent: own² = 1.5² − 1.0² − 0.5².
LEVEL, EXPANDED, OF_METER, OF_VISIT = 10_000, 300, 100, 50
OWN_PERCENT, SHARED_PERCENT = 1.0, 0.5


def check(months: int) -> Inspection:
    figures = {f"{name}_{stage}": value for stage in (1, 2) for name, value in (("level", LEVEL), ("u", EXPANDED))}
    on = dt.date(2024, 1, 1) + dt.timedelta(days=round(months * 30.4375))
    return Inspection(performed_on=on, u_meter=OF_METER, u_visit=OF_VISIT, **figures)


def test_three_checks_promise_nothing() -> None:
    promise = trend_promise([check(months) for months in (0, 6, 12)], stages=2)
    assert (promise.checks, promise.slowest) == (3, None)


def test_a_check_without_a_level_does_not_count() -> None:
    unread = Inspection(performed_on=dt.date(2025, 1, 1))
    assert trend_promise([*(check(months) for months in (0, 6, 12)), unread], stages=2).checks == 3


def test_pace_and_noise_of_the_last_checks_decide_what_is_seen() -> None:
    promise = trend_promise([check(months) for months in (0, 6, 12, 18)], stages=2)
    assert promise.checks_per_year == 2.0
    assert promise.slowest == slowest_visible_loss(
        2, own_u_percent=OWN_PERCENT, shared_u_percent=SHARED_PERCENT, checks_per_year=2.0
    )


@pytest.fixture
def flagged(api: Api, workshop: Workshop) -> Workshop:
    document = builders.inspection_document(workshop)
    assert api.post("inspections/", document).status_code == 201
    raised_by = Inspection.objects.of(workshop.organisation).get(uuid=document["id"])
    now = timezone.now()
    for stage, rising, age_days in ((1, False, 10), (2, True, 20), (3, False, 400)):
        Decline.objects.create(
            organisation=workshop.organisation,
            installation=workshop.installation,
            raised_by=raised_by,
            attribution="stage",
            stage=stage,
            rising=rising,
            state="watched",
            raised_at=now - dt.timedelta(days=age_days),
        )
    return workshop


def test_flags_of_the_last_twelve_months_are_counted_either_way(flagged: Workshop) -> None:
    counts = flag_counts(flagged.organisation, now=timezone.now())
    assert (counts.installations, counts.falling, counts.rising) == (1, 1, 1)
    assert (counts.by_chance.falling, counts.by_chance.rising) == pytest.approx((0.01, 0.0018))


def test_another_organisations_flags_are_not_counted(flagged: Workshop) -> None:
    elsewhere = builders.workshop().organisation
    counts = flag_counts(elsewhere, now=timezone.now())
    assert (counts.falling, counts.rising) == (0, 0)
