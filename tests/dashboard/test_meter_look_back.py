"""The page of a test meter that reads low, where none of the checks read with it counts."""

import datetime as dt

import pytest
from django.test import Client

from accounts.roles import Role
from inspections.clamp_periods import NEVER_CALIBRATED
from inspections.models import Calibration, MeterEffect
from tests import builders

MEASURED_AT = dt.datetime(2026, 3, 2, 3, tzinfo=dt.UTC)
NOTHING = "No check read with it in this time counts now, so there is none to look back on."


@pytest.mark.parametrize("calibrated_since", [False, True])
def test_a_look_back_list_without_checks_is_words_and_no_table(db: None, calibrated_since: bool) -> None:
    owner = builders.organisation()
    meter = builders.meter(owner, "ammeter")
    Calibration.objects.filter(meter=meter).delete()
    figures = {"effect": -250, "u_effect": 40, "visits": 8, "flagged": True, "measured_at": MEASURED_AT}
    MeterEffect.objects.create(organisation=owner, meter=meter, calibrated_day=NEVER_CALIBRATED, **figures)
    if calibrated_since:
        days = {"performed_on": dt.date(2026, 4, 1), "due_on": dt.date(2027, 4, 1)}
        Calibration.objects.create(organisation=owner, meter=meter, **days)
    client = Client()
    client.force_login(builders.member(owner, Role.MANAGER).user)
    page = client.get(f"/{owner.slug}/meters/{meter.uuid}/").content.decode()
    assert "2.5 % less than the other clamps" in page
    assert NOTHING in page
    assert "to look back on</summary>" not in page
    assert "look at these checks again" not in page.lower()
    assert ("Have it calibrated." in page) is not calibrated_since
