"""A depot's only clamp, whose units all show less from one day on: a doubt, and every decline stands."""

import numpy as np
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from accounts.roles import Role
from calc.trend import stepped_effects
from inspections.clamp_corrections import corrections_of
from inspections.clamp_doubts import doubt_of, doubts_of, numbers_read
from inspections.clamp_periods import day_on, period_key
from inspections.models import Calibration, Decline, Inspection, MeterEffect
from inspections.services import meter_effects
from inspections.services.meter_effects import refresh_meter_effects
from inspections.services.meter_evidence import KeysMoved
from inspections.services.trend_news import note_news
from inspections.services.trends import refresh_trends
from inspections.step_doubts import doubts_by_unit, step_doubts
from tests import builders
from tests.inspections.losing_fleet import FIRST_VISIT, QUARTER
from tests.inspections.low_clamp_fleet import LOW_FROM, Fleet, low_clamp_fleet

OF_A_ROW = ("meter", "calibrated_day", "since_day", "effect", "u_effect", "visits", "flagged", "corroborated")


@pytest.fixture
def sole(db: None) -> Fleet:
    fleet = low_clamp_fleet(other_clamps=0)
    night(fleet)
    return fleet


def night(fleet: Fleet) -> int:
    note_news(fleet.workshop.organisation.pk, fleet.units)
    return refresh_trends(fleet.workshop.organisation).declines_changed


def test_no_decline_is_withdrawn_and_the_doubt_is_on_file(sole: Fleet) -> None:
    assert Decline.objects.filter(ended_at__isnull=True).count() >= len(sole.units) / 2
    assert not Decline.objects.filter(reason="meter_effect").exists()
    row = MeterEffect.objects.get(corroborated=False)
    assert (row.flagged, row.is_part) == (False, True)
    keys = np.array([period_key(sole.low.pk, -1)])
    assert corrections_of(sole.workshop.organisation, keys) is None
    (doubt,) = doubts_of(sole.low)
    assert (doubt.corroborated, doubt.reads_low, doubt.before_on) == (False, True, None)
    first_low = (FIRST_VISIT + LOW_FROM * QUARTER).date()
    assert numbers_read([doubt]) == [Inspection.objects.filter(performed_on__gte=first_low).count()]


def test_a_second_night_changes_nothing_and_vehicles_off_the_road_take_no_doubt_away(sole: Fleet) -> None:
    before = set(MeterEffect.objects.values_list(*OF_A_ROW))
    assert night(sole) == 0
    assert set(MeterEffect.objects.values_list(*OF_A_ROW)) == before
    vehicle = sole.workshop.installation.vehicle
    vehicle.in_service = False
    vehicle.save()
    assert night(sole) == 0
    assert set(MeterEffect.objects.values_list(*OF_A_ROW)) == before


def test_it_is_said_beside_each_decline_on_today_on_the_vehicle_and_on_the_clamps_page(sole: Fleet) -> None:
    client, book = Client(), f"/{sole.workshop.organisation.slug}/"
    client.force_login(builders.member(sole.workshop.organisation, Role.MANAGER).user)
    (doubt,) = doubts_of(sole.low)
    assert doubt.from_on is not None
    since = f"{doubt.from_on.day} {doubt.from_on:%b %Y}"
    said = f"Since about {since} most units read with {sole.low.designation} show less than before"
    vehicle = sole.workshop.installation.vehicle.uuid
    for page in ("today/", "losing-current/", f"vehicles/{vehicle}/"):
        assert said in client.get(book + page).content.decode(), page
    own = client.get(f"{book}meters/{sole.low.uuid}/").content.decode()
    assert f"Shows less since about {since}" in own
    assert "Nothing is taken out of the trends for it, and no decline is withdrawn." in own
    assert "The trends leave that out" not in own
    assert "checks to look back on" in own
    Calibration.objects.create(organisation=sole.workshop.organisation, meter=sole.low, performed_on="2030-03-04")
    assert said not in client.get(f"{book}today/").content.decode()
    assert "until 4 Mar 2030 most units read with" in client.get(f"{book}losing-current/").content.decode()


@pytest.mark.parametrize(
    ("corroborated", "effect", "ends"), [(True, -600, True), (False, -600, False), (False, 300, True)]
)
def test_a_low_clamp_reads_low_until_a_step_that_is_its_own_or_a_doubt_whether_it_reads_more(
    corroborated: bool, effect: int, ends: bool
) -> None:
    usual = {"calibrated_day": -1, "visits": 30, "measured_at": FIRST_VISIT}
    low = MeterEffect(since_day=9000, effect=-300, flagged=True, **usual)
    later = MeterEffect(since_day=9400, effect=effect, corroborated=corroborated, **usual)
    found = doubt_of(low, [low, later], [])
    assert (found.before_on, found.found_until) == ((day_on(9400), True) if ends else (None, False))


def test_of_many_units_and_clamps_no_more_is_asked_than_of_one(sole: Fleet) -> None:
    def asked(units: list[int]) -> int:
        with CaptureQueriesContext(connection) as captured:
            assert set(doubts_by_unit(step_doubts(sole.workshop.organisation), units)) == set(units)
        return len(captured)

    few = asked(sole.units[:1])
    row = MeterEffect.objects.get(corroborated=False)
    for _ in range(3):
        row.pk, row.meter = None, builders.meter(sole.workshop.organisation, "ammeter")
        row.save()
    assert asked(sole.units) == few == 4
    assert step_doubts(builders.organisation()) == []


def test_another_night_leaves_one_step_of_a_clamp_and_a_calibration_meanwhile_begins_anew(
    sole: Fleet, monkeypatch: pytest.MonkeyPatch
) -> None:
    organisation, seen = sole.workshop.organisation, list[None]()

    def slowly(*arguments: object) -> object:
        found = stepped_effects(*arguments)  # type: ignore[arg-type]
        if not seen:
            # Another night has stored a step of another day meanwhile, and a calibration was filed.
            MeterEffect.objects.filter(corroborated=False).update(since_day=9_000)
            Calibration.objects.create(organisation=organisation, meter=sole.low, performed_on="2020-01-02")
        seen.append(None)
        return found

    note_news(organisation.pk, sole.units)
    monkeypatch.setattr(meter_effects, "stepped_effects", slowly)
    refresh_meter_effects(organisation)
    assert len(seen) == 2
    (row,) = MeterEffect.objects.filter(meter=sole.low, since_day__gt=-1)
    assert row.since_day != 9_000
    assert row.calibrated_day > 0
    monkeypatch.setattr(meter_effects, "period_keys", lambda organisation: np.arange(len(seen) + 1))
    monkeypatch.setattr(meter_effects, "stepped_effects", lambda *arguments: seen.append(None))
    with pytest.raises(KeysMoved):
        refresh_meter_effects(organisation)
