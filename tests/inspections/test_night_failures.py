"""What cannot be done in a night keeps nothing else from being done, says so, and is tried again by the next."""

import datetime as dt
from collections.abc import Sequence
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from accounts.instants import instant
from accounts.models import Organisation, WorkRun
from accounts.outbox import Delivery
from accounts.roles import Role
from accounts.tenancy import organisation_transaction
from calc.arrays import Ints
from fleet.models import Installation
from inspections import cutting
from inspections.cutting import cut
from inspections.models import Decline, Inspection, TrendChunk, TrendNews
from inspections.services import due_date_chunks, trend_chunks, trends
from inspections.services import night as night_module
from inspections.services.night import run_night
from inspections.services.night_runs import run_night_once
from inspections.services.trend_fits import Fit, fits_of
from inspections.services.trend_news import note_news
from inspections.services.trends import refresh_trends
from schedules.models import DueDate, Reminder
from schedules.queries import FittedUnit
from schedules.services import reminders
from schedules.services.due_dates import refresh_due_dates_of
from tests import builders
from tests.inspections.losing_fleet import found_in, losing_fleet
from tests.schedules.units import night, unit

UNITS = 7
DUE = "2026-07-31T12:00:00Z"
# No uncertainty is negative; a row like this stands for whatever else a fit refuses.
IMPOSSIBLE = {"u_visit": -500}


def spoil(organisation: Organisation, *numbers: int) -> list[int]:
    """Give some units a check that no trend can be fitted to, and return the units' keys."""
    fitted = list(Installation.objects.filter(organisation=organisation).order_by("pk"))
    spoilt = [fitted[number] for number in numbers]
    Inspection.objects.filter(installation__in=spoilt).update(**IMPOSSIBLE)
    return [installation.retarder_id for installation in spoilt]


def declines_of(organisation: Organisation) -> int:
    with organisation_transaction(organisation):
        return Decline.objects.of(organisation).count()


def listed(organisation: Organisation) -> list[int]:
    return list(TrendNews.objects.filter(organisation=organisation).values_list("retarder", flat=True))


def test_one_unit_that_cannot_be_fitted_keeps_no_other_from_it(db: None) -> None:
    sound, fleet = losing_fleet(UNITS), losing_fleet(UNITS)
    refresh_trends(sound.organisation)
    bad = spoil(fleet.organisation, 4)
    report = refresh_trends(fleet.organisation)
    assert (report.fitted, report.failed) == (UNITS - 1, 1)
    assert listed(fleet.organisation) == bad
    chunk = TrendChunk.objects.get()
    assert (chunk.first_unit, chunk.units) == (bad[0], 1)
    assert chunk.error.startswith("OutOfRange: u_shared_percent ")
    assert declines_of(fleet.organisation) == declines_of(sound.organisation) == UNITS // 2


def test_the_next_night_takes_it_again(db: None) -> None:
    sound, fleet = losing_fleet(UNITS), losing_fleet(UNITS)
    spoil(fleet.organisation, 1)
    assert refresh_trends(fleet.organisation).failed == 1
    assert refresh_trends(fleet.organisation).failed == 1
    checks = Inspection.objects.filter(organisation=fleet.organisation)
    (usual,) = checks.exclude(**IMPOSSIBLE).values_list("u_visit", flat=True).distinct()
    checks.update(u_visit=usual)
    report = refresh_trends(fleet.organisation)
    assert (report.fitted, report.failed) == (1, 0)
    assert not listed(fleet.organisation)
    assert not TrendChunk.objects.filter(organisation=fleet.organisation).exists()
    refresh_trends(sound.organisation)
    assert found_in(fleet.organisation) == found_in(sound.organisation)
    assert declines_of(fleet.organisation) == UNITS // 2


def test_what_fails_everywhere_is_not_cut_up_for_ever(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cutting, "MOST_CUT_OUT", 1)
    fleet = losing_fleet(UNITS)
    spoil(fleet.organisation, *range(UNITS))
    report = refresh_trends(fleet.organisation)
    assert (report.fitted, report.failed) == (0, UNITS)
    assert 1 < TrendChunk.objects.count() < UNITS


def unread_fleet(units: int) -> tuple[Organisation, list[Installation]]:
    """Make units that are on the night's list and have no checks yet."""
    organisation = builders.organisation()
    depot, kind = builders.depot(organisation), builders.retarder_type(organisation)
    shared = {"retarder_type": kind, "relay_box_type": builders.relay_box_type(organisation, stages=kind.stages)}
    vehicles = [builders.vehicle(organisation, depot=depot) for _ in range(units)]
    made = [builders.installation(organisation, vehicle=vehicle, **shared) for vehicle in vehicles]
    note_news(organisation.pk, [each.retarder_id for each in made])
    return organisation, made


def test_what_fails_everywhere_shows_after_a_few_attempts(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    organisation, _ = unread_fleet(300)
    tried: list[int] = []

    def broken(_: Organisation, chunk: TrendChunk) -> None:
        tried.append(chunk.units)
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(trends, "fits_of", broken)
    assert refresh_trends(organisation).failed == 300
    cuts_to_one_unit = [300, 150, 75, 37, 18, 9, 4, 2, 1]
    assert tried[: len(cuts_to_one_unit)] == cuts_to_one_unit
    # Two for each unit that is found to fail, and one for each of what the cutting has left, one on each depth.
    assert len(tried) <= len(cuts_to_one_unit) + 2 * cutting.MOST_CUT_OUT + len(cuts_to_one_unit)


def test_many_scattered_failures_keep_no_other_unit_from_its_trend_or_its_due_date(
    db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    organisation, fitted = unread_fleet(220)
    bad = fitted[5::10]
    assert len(bad) > cutting.MOST_CUT_OUT
    bad_units, bad_installations = {each.retarder_id for each in bad}, {each.pk for each in bad}

    def fit_none_with_a_bad_one(of: Organisation, chunk: TrendChunk) -> list[Fit]:
        if bad_units.intersection(range(chunk.first_unit, chunk.last_unit + 1)):
            raise RuntimeError("a bad one is among them")
        return fits_of(of, chunk)

    def refresh_none_with_a_bad_one(units: Sequence[FittedUnit], *arguments: Any, **named: Any) -> int:
        if bad_installations.intersection(unit.pk for unit in units):
            raise RuntimeError("a bad one is among them")
        return refresh_due_dates_of(units, *arguments, **named)

    monkeypatch.setattr(trends, "fits_of", fit_none_with_a_bad_one)
    monkeypatch.setattr(due_date_chunks, "refresh_due_dates_of", refresh_none_with_a_bad_one)
    report = night(DUE)
    assert (report.trends_fitted, report.trends_failed) == (198, 22)
    assert (report.installations, report.due_dates_failed) == (220, 22)
    dated = set(DueDate.objects.of(organisation).values_list("installation", flat=True))
    assert dated == {each.pk for each in fitted} - bad_installations


@pytest.mark.parametrize(("plan", "most"), [({"months": 6}, 2_000), ({"months": 6, "km": 50_000.0}, 500)])
def test_fewer_units_are_taken_at_once_where_their_counters_are_read(
    db: None, monkeypatch: pytest.MonkeyPatch, plan: dict[str, Any], most: int
) -> None:
    unit(builders.organisation(), fitted_on=dt.date(2026, 1, 31), **plan)
    asked: list[int] = []

    def asking(units: Ints, apart: Sequence[tuple[int, int]], most: int) -> list[list[int]]:
        asked.append(most)
        return cut(units, apart, most)

    monkeypatch.setattr(due_date_chunks, "cut", asking)
    assert night(DUE).due_dates_changed == 1
    assert asked == [most]


def test_the_command_says_what_is_left_undone_and_fails_once_all_else_is_done(db: None) -> None:
    fleet = losing_fleet(3)
    spoil(fleet.organisation, 0)
    out = StringIO()
    with pytest.raises(CommandError, match=r"^Left undone: 1 trends, 0 due dates, 0 whole steps\."):
        call_command("nightly", as_of=DUE, stdout=out)
    assert "2 trends fitted" in out.getvalue()
    assert DueDate.objects.of(fleet.organisation).count() == 3


def test_a_run_that_left_something_undone_says_so(db: None) -> None:
    fleet = losing_fleet(2)
    spoil(fleet.organisation, 1)
    report = run_night_once(as_of=instant(DUE))
    assert report is not None
    assert report.failed
    run = WorkRun.objects.get(job="night")
    assert (run.state, run.counts["trends_fitted"], run.counts["trends_failed"]) == ("done", 1, 1)


def test_one_due_date_that_cannot_be_worked_out_keeps_no_other_from_it(db: None) -> None:
    organisation = builders.organisation()
    units = [unit(organisation, fitted_on=dt.date(2026, 1, 31), months=6) for _ in range(5)]
    depot = builders.depot(organisation, time_zone="Nowhere/Atall")
    units[3].vehicle.depot = depot
    units[3].vehicle.save()
    report = night(DUE)
    assert (report.due_dates_changed, report.due_dates_failed) == (4, 1)
    assert not DueDate.objects.filter(installation=units[3]).exists()


def test_due_dates_that_all_fail_are_not_cut_up_for_ever(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cutting, "MOST_CUT_OUT", 1)
    organisation = builders.organisation()
    depot = builders.depot(organisation, time_zone="Nowhere/Atall")
    for _ in range(8):
        of = unit(organisation, fitted_on=dt.date(2026, 1, 31), months=6)
        of.vehicle.depot = depot
        of.vehicle.save()
    tried: list[int] = []

    def counting(units: Sequence[FittedUnit], *arguments: Any, **named: Any) -> int:
        tried.append(len(units))
        return refresh_due_dates_of(units, *arguments, **named)

    monkeypatch.setattr(due_date_chunks, "refresh_due_dates_of", counting)
    assert night(DUE).due_dates_failed == 8
    assert tried == [8, 4, 2, 1, 1, 2, 4]


def test_an_organisation_whose_step_fails_holds_up_no_other(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    first, second = builders.organisation(), builders.organisation()
    units = [unit(each, fitted_on=dt.date(2026, 1, 31), months=6) for each in (first, second)]

    def broken(organisation: Organisation, **_: Any) -> int:
        with organisation_transaction(organisation):
            if organisation == first:
                raise RuntimeError("the disk is full")
        return 0

    monkeypatch.setattr(night_module, "queue_reminders", broken)
    report = night(DUE)
    assert (report.steps_failed, report.due_dates_changed) == (1, 2)
    for each in units:
        with organisation_transaction(each.organisation):
            assert DueDate.objects.filter(installation=each).exists()


@pytest.mark.parametrize("name", ["send_owed_reminders", "send_release_notices"])
def test_sending_that_fails_is_a_step_that_failed_and_keeps_the_rest(
    db: None, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    organisation = builders.organisation()
    unit(organisation, fitted_on=dt.date(2026, 1, 31), months=6)

    def broken() -> Delivery:
        raise RuntimeError("the disk is full")

    for each in ("send_owed_reminders", "send_release_notices"):
        monkeypatch.setattr(night_module, each, lambda: Delivery(1, 0))
    monkeypatch.setattr(night_module, name, broken)
    report = night(DUE)
    assert (report.steps_failed, report.due_dates_changed, report.reminders_sent) == (1, 1, 1)


def test_without_a_broker_the_night_is_done_alone(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    losing_fleet(4)
    monkeypatch.setattr(trend_chunks, "UNITS_PER_CHUNK", 2)
    asked: list[int] = []

    def nobody_listens(_part: str, _organisation: int, chunk: int) -> None:
        asked.append(chunk)
        raise ConnectionError("the broker is down")

    report = run_night(as_of=instant(DUE), hand_out=nobody_listens)
    assert len(asked) == 1
    assert (report.trends_fitted, report.failed) == (4, False)


def test_clamps_that_cannot_be_measured_are_a_step_and_no_trend(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    losing_fleet(2)

    def broken(_: Organisation) -> None:
        raise RuntimeError("the disk is full")

    monkeypatch.setattr(trends, "refresh_meter_effects", broken)
    report = night(DUE)
    assert (report.trends_fitted, report.trends_failed, report.steps_failed) == (2, 0, 1)


def test_reminders_that_are_queued_stay_when_a_later_batch_fails(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    organisation = builders.organisation()
    builders.member(organisation, Role.MANAGER)
    for _ in range(3):
        unit(organisation, fitted_on=dt.date(2026, 1, 31), months=6)
    stored = reminders._stored
    batches: list[int] = []

    def store_one_batch(of: Organisation, owed: Sequence[Reminder]) -> int:
        batches.append(len(owed))
        if len(batches) > 1:
            raise RuntimeError("the disk is full")
        return stored(of, owed)

    monkeypatch.setattr(reminders, "CHUNK", 2)
    monkeypatch.setattr(reminders, "_stored", store_one_batch)
    assert night(DUE).steps_failed == 1
    assert Reminder.objects.of(organisation).count() == 2
    monkeypatch.setattr(reminders, "_stored", stored)
    assert night(DUE).reminders_queued == 1
