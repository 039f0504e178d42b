"""A night's due dates cut into chunks: by one worker or several, once or twice, as of the night's instant whenever."""

import datetime as dt
from collections.abc import Sequence
from functools import partial
from typing import Any

import pytest
from django.db.models.signals import post_delete
from django.utils import timezone

from accounts.instants import instant
from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from fleet.models import Installation
from inspections.models import DueDateChunk
from inspections.services import due_date_chunks
from inspections.services.chunks import (
    CLAIM_LAPSES_AFTER,
    MOST_CLAIMS,
    claim_chunk,
    failed_chunks,
    set_aside,
    take_on,
    work_through,
)
from inspections.services.due_date_chunks import (
    DUE_DATES,
    installations_without_due_date,
    plan_due_dates,
    refresh_due_dates_of_all,
)
from inspections.tasks import work_out_due_dates
from schedules.models import DueDate
from schedules.queries import FittedUnit
from schedules.services.due_dates import refresh_due_dates_of
from tests import builders
from tests.accounts.threads import at_once
from tests.schedules.units import unit

DUE = instant("2026-07-31T12:00:00Z")
DAY = dt.timedelta(days=1)


@pytest.fixture(autouse=True)
def two_a_chunk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a few units be several chunks."""
    monkeypatch.setattr(due_date_chunks, "UNITS_PER_CHUNK", 2)


def fleet(units: int) -> tuple[Organisation, list[Installation]]:
    """Make units that are all due on the day of `DUE`."""
    organisation = builders.organisation()
    return organisation, [unit(organisation, fitted_on=dt.date(2026, 1, 31), months=6) for _ in range(units)]


def states(organisation: Organisation) -> set[tuple[str, int]]:
    with organisation_transaction(organisation):
        return set(DueDate.objects.of(organisation).values_list("state", "overdue_days"))


def planned(organisation: Organisation, as_of: dt.datetime) -> list[DueDateChunk]:
    plan_due_dates(organisation, as_of=as_of, began_at=timezone.now())
    with organisation_transaction(organisation):
        return list(DueDateChunk.objects.of(organisation).order_by("first_unit"))


def test_each_chunk_is_offered_and_told_and_a_rerun_changes_nothing(db: None) -> None:
    organisation, _ = fleet(5)
    offered: list[int] = []
    told: list[tuple[int, int]] = []
    for changed in (5, 0):
        report = refresh_due_dates_of_all(
            organisation,
            as_of=DUE,
            hand_out=lambda _organisation, chunk: offered.append(chunk),
            tell=lambda progress: told.append((progress.done, progress.total)),
        )
        assert (report.done, report.changed, report.failed) == (5, changed, 0)
    assert len(set(offered)) == 6
    assert told == [(2, 5), (4, 5), (5, 5)] * 2
    # They stay for whoever else has shared them to count; the second night has put them in the place of the first's.
    assert DueDateChunk.objects.filter(finished_at__isnull=False, error="").count() == 3


def test_a_worker_that_comes_days_later_works_as_of_the_nights_instant(db: None) -> None:
    organisation, _ = fleet(2)
    other = builders.organisation()
    (chunk,) = planned(organisation, DUE)
    work_out_due_dates(other.pk, chunk.pk)
    assert not states(organisation)
    work_out_due_dates(organisation.pk, chunk.pk)
    assert states(organisation) == {("due", 0)}


@pytest.mark.committed
def test_nights_at_once_end_like_a_single_one_of_the_latest_instant(committed_db: None) -> None:
    organisation, units = fleet(6)
    instants, began_at = [DUE, DUE + DAY, DUE], timezone.now()
    nights = [partial(refresh_due_dates_of_all, organisation, as_of=each, began_at=began_at) for each in instants]
    reports = at_once(nights)
    assert [(report.done, report.failed) for report in reports] == [(len(units), 0)] * len(nights)
    with organisation_transaction(organisation):
        assert DueDate.objects.of(organisation).count() == len(units)
        assert not DueDateChunk.objects.of(organisation).filter(finished_at__isnull=True).exists()
    assert states(organisation) == {("overdue", 1)}


def test_a_night_that_plans_late_works_as_of_the_later_one_that_it_has_met_and_of_no_other(db: None) -> None:
    organisation, _ = fleet(3)
    began_at = timezone.now()
    refresh_due_dates_of_all(organisation, as_of=DUE + DAY)
    refresh_due_dates_of_all(organisation, as_of=DUE, began_at=began_at)
    assert states(organisation) == {("overdue", 1)}
    planned(organisation, DUE + DAY)
    assert {chunk.as_of for chunk in planned(organisation, DUE)} == {DUE + DAY}
    refresh_due_dates_of_all(organisation, as_of=DUE)
    assert states(organisation) == {("overdue", 1)}
    # By now the later one has ended, and this one begins: somebody wants to know how it stood.
    refresh_due_dates_of_all(organisation, as_of=DUE)
    assert states(organisation) == {("due", 0)}


def test_a_chunk_is_done_by_one_and_taken_over_when_its_claim_lapses(db: None) -> None:
    organisation, _ = fleet(1)
    (chunk,) = planned(organisation, DUE)
    assert claim_chunk(DueDateChunk, organisation, chunk.pk) is not None
    assert not take_on(DUE_DATES, organisation, chunk.pk)
    lapsed = timezone.now() - CLAIM_LAPSES_AFTER - dt.timedelta(seconds=1)
    DueDateChunk.objects.filter(pk=chunk.pk).update(claimed_at=lapsed)
    assert take_on(DUE_DATES, organisation, chunk.pk)
    assert states(organisation) == {("due", 0)}
    assert not take_on(DUE_DATES, organisation, chunk.pk)


def test_what_an_earlier_night_left_is_never_written_over_a_later_one(db: None) -> None:
    organisation, _ = fleet(3)
    begun, waiting = planned(organisation, DUE)
    claimed = claim_chunk(DueDateChunk, organisation, begun.pk)
    assert claimed is not None
    assert refresh_due_dates_of_all(organisation, as_of=DUE + DAY).changed == 3
    DUE_DATES.do(organisation, claimed)
    assert not take_on(DUE_DATES, organisation, waiting.pk)
    assert states(organisation) == {("overdue", 1)}


@pytest.mark.parametrize(("are_dead", "failed"), [(False, 0), (True, 1)])
def test_workers_that_later_nights_overtake_are_not_taken_for_killed_ones(
    db: None, are_dead: bool, failed: int
) -> None:
    organisation, _ = fleet(1)
    for _night in range(MOST_CLAIMS):
        (chunk,) = planned(organisation, DUE)
        assert claim_chunk(DueDateChunk, organisation, chunk.pk) is not None
        if are_dead:
            DueDateChunk.objects.update(claimed_at=timezone.now() - CLAIM_LAPSES_AFTER - dt.timedelta(seconds=1))
    assert refresh_due_dates_of_all(organisation, as_of=DUE).failed == failed


def test_a_chunk_that_fails_writes_nothing_and_its_halves_keep_the_instant(
    db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    organisation, units = fleet(2)
    bad = units[1].pk
    tried: list[list[int]] = []

    def refresh_none_with_the_bad_one(of: Sequence[FittedUnit], *arguments: Any, **named: Any) -> int:
        tried.append([each.pk for each in of])
        changed = refresh_due_dates_of(of, *arguments, **named)
        if bad in tried[-1]:
            raise RuntimeError("a bad one is among them")
        return changed

    monkeypatch.setattr(due_date_chunks, "refresh_due_dates_of", refresh_none_with_the_bad_one)
    report = refresh_due_dates_of_all(organisation, as_of=DUE)
    assert (report.done, report.changed, report.failed) == (1, 1, 1)
    assert set(DueDate.objects.values_list("installation", "state")) == {(units[0].pk, "due")}
    failed = failed_chunks(DueDateChunk, organisation).get()
    assert (failed.first_unit, failed.units, failed.as_of) == (bad, 1, DUE)
    assert failed.error == "RuntimeError: a bad one is among them"
    # The next night has it apart from the others from the beginning.
    tried.clear()
    assert refresh_due_dates_of_all(organisation, as_of=DUE).failed == 1
    assert sorted(tried) == [[units[0].pk], [bad]]


def test_a_night_waits_for_what_others_have_taken_on(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    organisation, _ = fleet(4)
    taken: list[DueDateChunk] = []
    slept: list[float] = []

    def one_is_taken(of: int, offered: int) -> None:
        if not taken:
            taken.extend(filter(None, [claim_chunk(DueDateChunk, organisation, offered)]))

    def others_go_on(seconds: float) -> None:
        slept.append(seconds)
        DUE_DATES.do(organisation, taken[0])

    monkeypatch.setattr("inspections.services.chunks.time.sleep", others_go_on)
    report = refresh_due_dates_of_all(organisation, as_of=DUE, hand_out=one_is_taken)
    assert (report.done, report.changed, report.failed) == (4, 4, 0)
    assert len(slept) == 1


def test_a_half_that_is_cut_off_while_a_later_night_plans_goes_with_the_rest(db: None) -> None:
    organisation, _ = fleet(2)
    (earlier,) = planned(organisation, DUE)

    def cut_off(**_signal: Any) -> None:
        post_delete.disconnect(cut_off, DueDateChunk)
        earlier.pk, earlier.first_unit, earlier.units = None, earlier.last_unit, 1
        earlier.save()

    post_delete.connect(cut_off, DueDateChunk)
    (later,) = planned(organisation, DUE + DAY)
    assert (later.as_of, later.units) == (DUE + DAY, 2)


@pytest.mark.parametrize(("fails", "named"), [({9}, 9), ({4, 9}, 9), ({4}, None)])
def test_what_failed_is_named_as_it_is_when_it_fails_and_not_as_it_was_planned(
    db: None, monkeypatch: pytest.MonkeyPatch, fails: set[int], named: int | None
) -> None:
    organisation = builders.organisation()
    units = {number: unit(organisation, fitted_on=dt.date(2026, 1, 31), months=6) for number in (4, 9)}
    planned(organisation, DUE)
    units[4].vehicle.in_service = False
    units[4].vehicle.save()
    bad = {units[number].pk for number in fails}

    def refresh_none_with_a_bad_one(of: Sequence[FittedUnit], *arguments: Any, **named: Any) -> int:
        if bad.intersection(each.pk for each in of):
            raise RuntimeError("a bad one is among them")
        return refresh_due_dates_of(of, *arguments, **named)

    monkeypatch.setattr(due_date_chunks, "refresh_due_dates_of", refresh_none_with_a_bad_one)
    work_through(DUE_DATES, organisation)
    assert installations_without_due_date(organisation, 9) == ([(units[named], 1)] if named else [])


@pytest.mark.parametrize("units", [1, 2])
def test_a_chunk_that_fails_when_none_of_its_units_is_left_to_it_is_no_failure(db: None, units: int) -> None:
    organisation, (gone, *in_hand) = fleet(units)
    (chunk,) = planned(organisation, DUE)
    gone.vehicle.in_service = False
    gone.vehicle.save()
    for each in in_hand:
        ends = {"first_unit": each.pk, "last_unit": each.pk, "units": 1}
        DueDateChunk.objects.create(organisation=organisation, planned_at=timezone.now(), as_of=DUE, **ends)
    set_aside(DUE_DATES, organisation, chunk, RuntimeError("it went meanwhile"))
    chunk.refresh_from_db()
    assert (chunk.finished_at is None, chunk.units, chunk.error) == (False, 0, "")
