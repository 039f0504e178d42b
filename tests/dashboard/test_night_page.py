"""The page about the night's work tells a book what was done for it, and nothing of how much others have."""

import datetime as dt

import pytest
from django.test import Client
from django.utils import timezone

from accounts.models import Organisation, WorkRun
from accounts.roles import Role
from dashboard.views.more import COUNTED, FAILURES
from inspections.models import TrendChunk
from inspections.services.night_runs import JOB
from tests import builders


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


def chunk(owner: Organisation, first_unit: int, **columns: object) -> None:
    now = timezone.now()
    begun = {"planned_at": now, "claimed_at": now - dt.timedelta(seconds=10), **columns}
    TrendChunk.objects.create(
        **{"organisation": owner, "first_unit": first_unit, "last_unit": first_unit + 9_999, "units": 10_000, **begun}
    )


def test_a_night_that_is_under_way_says_how_far_it_is_how_fast_and_how_long_still(db: None) -> None:
    owner = builders.organisation()
    chunk(owner, 1, finished_at=timezone.now())
    chunk(owner, 10_001)
    page = page_of(owner)
    assert "the trends of 10,000 of 20,000 units are fitted" in page
    # A rate counts from the first claim, ten seconds and a moment ago.
    assert any(f"{rate:,} a second, about {left} s left" in page for rate in range(800, 1_001) for left in range(9, 14))


def test_units_without_a_trend_are_named_in_plain_words_and_are_nothing_under_way(db: None) -> None:
    owner, other = builders.organisation(), builders.organisation()
    unit, first = (builders.installation(owner).retarder for _ in range(2))
    failed = {"finished_at": timezone.now(), "error": "OutOfRange: u_shared_percent is -2.5\nand more"}
    chunk(owner, unit.pk, **failed | {"units": 1})
    chunk(owner, first.pk, **failed)
    page = page_of(owner)
    assert "The trend of these units could not be worked out" in page
    assert f"<li>serial number {unit.serial_number}</li>" in page
    assert f"<li>among 10000 units from serial number {first.serial_number}</li>" in page
    assert "OutOfRange" not in page
    assert "Under way" not in page
    assert "could not be worked out" not in page_of(other)


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
