"""The page about the night's work tells a book what was done for it, and nothing of how much others have."""

import datetime as dt
import re
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from accounts.models import Organisation, WorkRun
from accounts.roles import Role
from dashboard.views.more import COUNTED, FAILED_SHOWN, FAILURES
from inspections.models import DueDateChunk, TrendChunk
from inspections.services.chunks import CLAIM_LAPSES_AFTER
from inspections.services.night_runs import JOB
from tests import builders
from tests.naming import name
from tests.schedules.units import night, unit

AS_OF = dt.datetime(2026, 7, 31, 12, tzinfo=dt.UTC)


@pytest.mark.parametrize(("organisations", "is_told"), [(1, True), (2, False)])
def test_counts_over_several_organisations_are_told_to_none_of_them(
    db: None, organisations: int, is_told: bool
) -> None:
    owner = builders.organisation()
    now = timezone.now()
    counts = {"organisations": organisations, **dict.fromkeys(COUNTED, 98765)}
    WorkRun.objects.create(
        job=JOB, window="2026-11-25T03", state="done", claimed_at=now, finished_at=now, counts=counts
    )
    client = Client()
    client.force_login(builders.member(owner, Role.ADMINISTRATOR).user)
    assert ("98765" in client.get(f"/{owner.slug}/night/").content.decode()) is is_told


def page_of(owner: Organisation) -> str:
    client = Client()
    client.force_login(builders.member(owner, Role.ADMINISTRATOR).user)
    return client.get(f"/{owner.slug}/night/").content.decode()


def chunk(owner: Organisation, first_unit: int, of: Any = TrendChunk, **columns: object) -> None:
    now = timezone.now()
    begun = {"planned_at": now, "claimed_at": now - dt.timedelta(seconds=10), **columns}
    of.objects.create(
        **{"organisation": owner, "first_unit": first_unit, "last_unit": first_unit + 9_999, "units": 10_000, **begun}
    )


@pytest.mark.parametrize(
    ("of", "columns", "said"),
    [
        (TrendChunk, {}, "the trends of 10,000 of 20,000 units are fitted"),
        (DueDateChunk, {"as_of": AS_OF}, "the due dates of 10,000 of 20,000 units are worked out"),
    ],
)
def test_a_night_that_is_under_way_says_how_far_it_is_how_fast_and_how_long_still(
    db: None, of: Any, columns: dict[str, object], said: str
) -> None:
    owner = builders.organisation()
    chunk(owner, 1, of, finished_at=timezone.now(), **columns)
    chunk(owner, 10_001, of, **columns)
    page = page_of(owner)
    assert page.count("Under way") == 1
    assert said in page
    # A rate counts from the first claim, ten seconds and a moment ago.
    assert any(f"{rate:,} a second, about {left} s left" in page for rate in range(800, 1_001) for left in range(9, 14))


def test_units_without_a_trend_are_named_in_plain_words_and_are_nothing_under_way(db: None) -> None:
    owner, other = builders.organisation(), builders.organisation()
    bad, first = (builders.installation(owner).retarder for _ in range(2))
    failed = {"finished_at": timezone.now(), "error": "OutOfRange: u_shared_percent is -2.5\nand more"}
    chunk(owner, bad.pk, **failed | {"units": 1})
    chunk(owner, first.pk, **failed)
    page = page_of(owner)
    assert "The trend of these units could not be worked out" in page
    assert f"<li>serial number {bad.serial_number}</li>" in page
    assert f"<li>among 10,000 units from serial number {first.serial_number}</li>" in page
    assert "OutOfRange" not in page
    assert "Under way" not in page
    assert " more unit" not in page
    assert "could not be worked out" not in page_of(other)


@pytest.mark.parametrize(("units_of_last", "said"), [(1, "and 1 more unit"), (1_234, "and 1,234 more units")])
def test_of_many_that_failed_the_first_are_named_and_the_others_counted(
    db: None, units_of_last: int, said: str
) -> None:
    owner = builders.organisation()
    first, *_, last = fitted = [builders.installation(owner) for _ in range(FAILED_SHOWN + 1)]
    done = {"finished_at": timezone.now(), "error": "RuntimeError: the disk is full"}
    for each in fitted:
        failed = done | {"units": units_of_last if each is last else 1}
        chunk(owner, each.retarder_id, **failed)
        chunk(owner, each.pk, DueDateChunk, as_of=AS_OF, **failed)
    page = page_of(owner)
    assert page.count(f"<li>{said}</li>") == 2
    assert page.count(first.retarder.serial_number) == 2
    assert last.retarder.serial_number not in page
    assert "what was worked out last, if anything, stands" in page


@pytest.mark.parametrize("of", [TrendChunk, DueDateChunk])
def test_a_night_on_which_nobody_is_at_work_any_longer_is_interrupted_and_not_under_way(db: None, of: Any) -> None:
    owner = builders.organisation()
    moved = timezone.now() - CLAIM_LAPSES_AFTER - dt.timedelta(seconds=1)
    begun = {"planned_at": moved, "claimed_at": moved, **({"as_of": AS_OF} if of is DueDateChunk else {})}
    chunk(owner, 1, of, finished_at=moved, **begun)
    chunk(owner, 10_001, of, **begun)
    page = page_of(owner)
    assert "Under way" not in page
    assert " s left" not in page
    assert re.search("Interrupted: the .* of 10,000 of 20,000 units were .*; the next night goes on", page)
    for first_unit, moving in ((10_001, "planned_at"), (10_001, "claimed_at"), (1, "finished_at")):
        name(owner)
        of.objects.filter(first_unit=first_unit).update(**{moving: timezone.now()})
        page = page_of(owner)
        assert "Under way" in page
        assert "Interrupted" not in page
        name(owner)
        of.objects.filter(first_unit=first_unit).update(**{moving: moved})


def test_a_unit_without_a_due_date_is_named_with_its_vehicle_until_a_night_works_it_out(db: None) -> None:
    owner, other = builders.organisation(), builders.organisation()
    sound, bad = (unit(owner, fitted_on=dt.date(2026, 1, 31), months=6) for _ in range(2))
    depot = sound.vehicle.depot
    bad.vehicle.depot = builders.depot(owner, time_zone="Nowhere/Atall")
    bad.vehicle.save()
    said = "The due date of these units could not be worked out"
    named = f'/{bad.vehicle.uuid}/">{bad.vehicle.fleet_number}</a>, serial number {bad.retarder.serial_number}</li>'
    night("2026-07-31T12:00:00Z")
    page = page_of(owner)
    assert said in page
    assert named in page
    assert sound.retarder.serial_number not in page
    assert "Under way" not in page
    assert "Nowhere" not in page
    assert said not in page_of(other)
    name(owner)
    bad.vehicle.depot = depot
    bad.vehicle.save()
    night("2026-07-31T13:00:00Z")
    assert said not in page_of(owner)


NOTHING_CHANGED, NOT_EVERYTHING = "nothing had changed", "not everything was done"


@pytest.mark.parametrize(
    ("counts", "said"),
    [
        ({"organisations": 1}, {NOTHING_CHANGED}),
        ({"organisations": 1, "installations": 3}, set()),
        ({"organisations": 1, "steps_failed": 1}, {NOT_EVERYTHING}),
        ({"organisations": 2}, set()),
        *(({"organisations": 2, name: 7}, {NOT_EVERYTHING}) for name in FAILURES),
    ],
)
def test_a_run_says_that_nothing_changed_only_if_so_and_that_something_is_left_undone_to_everybody(
    db: None, counts: dict[str, int], said: set[str]
) -> None:
    owner = builders.organisation()
    now = timezone.now()
    WorkRun.objects.create(
        job=JOB, window="2026-11-25T03", state="done", claimed_at=now, finished_at=now, counts=counts
    )
    page = page_of(owner)
    assert {words for words in (NOTHING_CHANGED, NOT_EVERYTHING) if words in page} == said
