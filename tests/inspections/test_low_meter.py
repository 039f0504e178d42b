"""A clamp that turns low: the night finds it by itself, says what it has read, and takes back what it made up."""

import datetime as dt
from operator import attrgetter
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from accounts.roles import Role
from inspections.clamp_doubts import doubts_of, numbers_read, read_meanwhile, withdrawn_on_units_of
from inspections.clamp_periods import NEVER_CALIBRATED
from inspections.models import Calibration, Decline, Inspection, MeterEffect, Trend
from inspections.services.trend_news import note_news
from inspections.services.trends import refresh_trends
from tests import builders
from tests.inspections.low_clamp_fleet import FIELDS, Fleet, calibrated, low_clamp_fleet, nights


@pytest.fixture
def fleet(db: None) -> Fleet:
    return low_clamp_fleet()


def test_a_low_clamp_is_flagged_and_what_it_made_up_is_withdrawn_not_deleted(fleet: Fleet) -> None:
    on = calibrated(fleet)
    opened, changed = nights(fleet)
    assert opened
    assert changed >= len(opened)
    flagged = MeterEffect.objects.get(flagged=True)
    assert flagged.meter == fleet.low
    assert flagged.effect is not None
    assert -450 < flagged.effect < -250
    explained = Decline.objects.filter(pk__in=opened)
    assert explained.count() == len(opened)
    assert set(explained.values_list("state", "reason")) == {("withdrawn", "meter_effect")}
    assert not Decline.objects.filter(ended_at__isnull=True).exists()
    assert not Trend.objects.filter(attribution__isnull=False).exists()
    (doubt,) = doubts_of(fleet.low)
    assert (doubt.reads_low, doubt.from_on, doubt.before_on) == (True, on, None)
    assert set(withdrawn_on_units_of(doubt)) == set(Decline.objects.filter(reason="meter_effect"))


def test_the_look_back_list_is_what_it_has_read_since_its_calibration(fleet: Fleet) -> None:
    on = calibrated(fleet)
    nights(fleet)
    (doubt,) = doubts_of(fleet.low)
    read = set(read_meanwhile(doubt))
    assert read == set(Inspection.objects.filter(ammeter=fleet.low, performed_on__gte=on))
    assert 0 < len(read) < Inspection.objects.filter(ammeter=fleet.low).count()
    of_read = {field.attname: getattr(min(read, key=attrgetter("pk")), field.attname) for field in FIELDS}
    besides = [
        {"signed_at": None, "signed_by_id": None},
        {"superseded_by_id": of_read["id"], "superseded_reason": "wrong unit"},
    ]
    Inspection.objects.bulk_create(Inspection(**of_read | {"id": None, "uuid": uuid4()} | each) for each in besides)
    assert set(read_meanwhile(doubt)) == read
    assert numbers_read([doubt]) == [len(read)]
    assert [doubts_of(each) for each in fleet.good] == [[], [], []]


def test_the_meters_page_shows_it_with_the_list_and_the_declines_page_says_why(fleet: Fleet) -> None:
    calibrated(fleet)
    opened, _changed = nights(fleet)
    client = Client()
    organisation = fleet.workshop.organisation
    client.force_login(builders.member(organisation, Role.MANAGER).user)
    page = client.get(f"/{organisation.slug}/meters/{fleet.low.uuid}/").content.decode()
    (doubt,) = doubts_of(fleet.low)
    count = read_meanwhile(doubt).count()
    assert "Reads low beside the other clamps" in page
    assert f"{count} checks to look back on" in page
    withdrawn = withdrawn_on_units_of(doubt).count()
    assert f"On units it has read meanwhile, {withdrawn} decline" in page
    assert page.count('<th scope="row"><a href="/') >= count
    other = client.get(f"/{organisation.slug}/meters/{fleet.good[0].uuid}/").content.decode()
    assert "beside the other clamps" not in other
    declines = client.get(f"/{organisation.slug}/losing-current/?state=withdrawn").content.decode()
    assert declines.count("the test meter read low or high") == withdrawn_on_units_of(doubt).count() >= len(opened)


def test_a_clamp_calibrated_since_is_no_longer_said_to_read_low_nor_to_be_sent_away(fleet: Fleet) -> None:
    calibrated(fleet)
    nights(fleet)
    client, address = Client(), f"/{fleet.workshop.organisation.slug}/meters/{fleet.low.uuid}/"
    client.force_login(builders.member(fleet.workshop.organisation, Role.MANAGER).user)
    still_low = client.get(address).content.decode()
    assert "Have it calibrated, and look at these checks again." in still_low
    assert "Read low until" not in still_low
    Calibration.objects.create(
        organisation=fleet.workshop.organisation,
        meter=fleet.low,
        performed_on=dt.date(2027, 3, 4),
        due_on=dt.date(2028, 3, 4),
    )
    page = client.get(address).content.decode()
    assert "Read low until its calibration on 4 Mar 2027" in page
    assert "Look at these checks again." in page
    assert "Have it calibrated" not in page
    assert "Reads low" not in page


def test_a_second_period_costs_the_page_no_question_and_each_has_its_own_list(fleet: Fleet) -> None:
    on = calibrated(fleet)
    nights(fleet)
    (late,) = doubts_of(fleet.low)
    client, address = Client(), f"/{fleet.workshop.organisation.slug}/meters/{fleet.low.uuid}/"
    client.force_login(builders.member(fleet.workshop.organisation, Role.MANAGER).user)
    client.get(address)
    with CaptureQueriesContext(connection) as one_period:
        client.get(address)
    MeterEffect.objects.filter(meter=fleet.low).exclude(flagged=True).delete()
    MeterEffect.objects.create(
        organisation=fleet.workshop.organisation,
        meter=fleet.low,
        calibrated_day=NEVER_CALIBRATED,
        effect=250,
        u_effect=20,
        flagged=True,
        visits=9,
        measured_at=late.measured_at,
    )
    with CaptureQueriesContext(connection) as two_periods:
        answer = client.get(address)
    assert len(two_periods) == len(one_period)
    read = Inspection.objects.filter(ammeter=fleet.low)
    lists = [set(each["checks"]) for each in answer.context["doubts"]]
    assert lists == [set(read.filter(performed_on__gte=on)), set(read.filter(performed_on__lt=on))]
    assert [each["count"] for each in answer.context["doubts"]] == [len(each) for each in lists]
    withdrawn = [withdrawn_on_units_of(doubt).count() for doubt in doubts_of(fleet.low)]
    assert [each["withdrawn"] for each in answer.context["doubts"]] == withdrawn
    assert all(withdrawn)


def test_a_rerun_changes_nothing(fleet: Fleet) -> None:
    calibrated(fleet)
    nights(fleet)
    before = list(Decline.objects.order_by("pk").values())
    note_news(fleet.workshop.organisation.pk, fleet.units)
    assert refresh_trends(fleet.workshop.organisation).declines_changed == 0
    assert list(Decline.objects.order_by("pk").values()) == before
