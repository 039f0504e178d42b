"""A clamp that turns low with nothing on file about it: found by comparison, and shown as that."""

import numpy as np
import pytest
from django.test import Client

from accounts.roles import Role
from inspections.clamp_corrections import corrections_of
from inspections.clamp_doubts import doubts_of, numbers_read, read_meanwhile
from inspections.clamp_periods import day_of, period_key
from inspections.models import Calibration, Decline, Inspection, MeterEffect
from inspections.services.trend_news import note_news
from inspections.services.trends import refresh_trends
from tests import builders
from tests.inspections.losing_fleet import FIRST_VISIT, QUARTER
from tests.inspections.low_clamp_fleet import LOW_FROM, Fleet, calibrated, low_clamp_fleet, nights

LAST_GOOD = (FIRST_VISIT + (LOW_FROM - 1) * QUARTER).date()
FIRST_LOW = (FIRST_VISIT + LOW_FROM * QUARTER).date()
OF_A_ROW = ("meter", "calibrated_day", "since_day", "effect", "u_effect", "visits", "flagged", "corroborated")


@pytest.fixture
def fleet(db: None) -> Fleet:
    return low_clamp_fleet()


def test_its_declines_are_withdrawn_and_the_look_back_list_begins_with_the_step(fleet: Fleet) -> None:
    opened, changed = nights(fleet)
    assert opened
    assert changed >= len(opened)
    explained = Decline.objects.filter(pk__in=opened)
    assert set(explained.values_list("state", "reason")) == {("withdrawn", "meter_effect")}
    assert not Decline.objects.filter(ended_at__isnull=True).exists()
    flagged = MeterEffect.objects.get(flagged=True)
    assert (flagged.meter, flagged.calibrated_day) == (fleet.low, -1)
    assert flagged.effect is not None
    assert -450 < flagged.effect < -250
    (doubt,) = doubts_of(fleet.low)
    assert (doubt.found_since, doubt.before_on) == (True, None)
    assert doubt.from_on is not None
    assert LAST_GOOD < doubt.from_on < FIRST_LOW
    read = Inspection.objects.filter(ammeter=fleet.low, performed_on__gte=FIRST_LOW)
    assert set(read_meanwhile(doubt)) == set(read)
    assert numbers_read([doubt]) == [read.count()]
    assert [doubts_of(each) for each in fleet.good] == [[], [], []]


def test_a_rerun_changes_nothing(fleet: Fleet) -> None:
    nights(fleet)
    rows = [list(model.objects.order_by("pk").values()) for model in (Decline, Calibration, Inspection)]
    effects = set(MeterEffect.objects.values_list(*OF_A_ROW))
    note_news(fleet.workshop.organisation.pk, fleet.units)
    assert refresh_trends(fleet.workshop.organisation).declines_changed == 0
    assert [list(model.objects.order_by("pk").values()) for model in (Decline, Calibration, Inspection)] == rows
    assert set(MeterEffect.objects.values_list(*OF_A_ROW)) == effects


def test_the_page_says_since_about_when_and_that_no_calibration_is_on_file(fleet: Fleet) -> None:
    nights(fleet)
    organisation = fleet.workshop.organisation
    client, address = Client(), f"/{organisation.slug}/meters/{fleet.low.uuid}/"
    client.force_login(builders.member(organisation, Role.MANAGER).user)
    page = client.get(address).content.decode()
    (doubt,) = doubts_of(fleet.low)
    assert doubt.from_on is not None
    assert f"Reads low since about {doubt.from_on.day} {doubt.from_on:%b %Y}" in page
    assert "Found by comparison: no calibration is on file about that day." in page
    assert "Counted since its calibration" not in page
    assert "No calibration is on file." in page
    Calibration.objects.create(organisation=organisation, meter=fleet.low, performed_on="2027-03-04")
    page = client.get(address).content.decode()
    assert "Read low from about" in page
    assert "until its calibration on 4 Mar 2027" in page


def test_a_calibration_put_on_file_takes_the_place_of_the_step(fleet: Fleet) -> None:
    nights(fleet)
    on = calibrated(fleet)
    # Before any night already: what was found ends with it, and nothing read since is corrected.
    (doubt,) = doubts_of(fleet.low)
    assert (doubt.found_since, doubt.before_on) == (True, on)
    after = np.array([period_key(fleet.low.pk, day_of(on))])
    assert corrections_of(fleet.workshop.organisation, after) is None
    note_news(fleet.workshop.organisation.pk, fleet.units)
    refresh_trends(fleet.workshop.organisation)
    (doubt,) = doubts_of(fleet.low)
    assert (doubt.found_since, doubt.from_on, doubt.before_on) == (False, on, None)
    assert set(MeterEffect.objects.values_list("since_day", flat=True)) == {-1}
    assert not Decline.objects.filter(ended_at__isnull=True).exists()
