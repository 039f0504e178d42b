"""A night's fitting cut into chunks: by one worker or several, once or twice, with news in the middle of it."""

import datetime as dt
from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from django.utils import timezone

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from calc.trend import fit
from fleet.models import Installation
from inspections.models import Decline, Inspection, TrendChunk, TrendNews
from inspections.services import chunks, trend_chunks, trend_fits, trends
from inspections.services.chunks import CLAIM_LAPSES_AFTER, claim_chunk, set_aside, take_on
from inspections.services.trend_fits import Fit, fits_of
from inspections.services.trend_news import note_news
from inspections.services.trend_rows import store_trends
from inspections.services.trends import TRENDS, TrendReport, refresh_trends
from tests import builders
from tests.accounts.threads import at_once
from tests.builders import Workshop
from tests.inspections.losing_fleet import FIRST_VISIT, QUARTER, found_in, losing_fleet
from tests.inspections.tables import every_row
from tests.inspections.visits import recorded


def test_small_chunks_find_what_one_large_chunk_finds(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    whole, cut = losing_fleet(5), losing_fleet(5)
    assert refresh_trends(whole.organisation).fitted == 5
    monkeypatch.setattr(trend_chunks, "UNITS_PER_CHUNK", 2)
    told: list[tuple[int, int]] = []
    report = refresh_trends(cut.organisation, tell=lambda progress: told.append((progress.done, progress.total)))
    assert report.fitted == 5
    assert told == [(2, 5), (4, 5), (5, 5)]
    assert found_in(cut.organisation) == found_in(whole.organisation)
    assert Decline.objects.of(cut.organisation).count() == 2


@pytest.mark.parametrize(("checks", "units_in_chunks"), [(9 * 6, [6]), (9 * 2, [2, 2, 2]), (4, [1] * 6)])
def test_a_chunk_holds_no_more_checks_than_memory_has_room_for(
    checks: int, units_in_chunks: list[int], db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    fleet = losing_fleet(6)
    monkeypatch.setattr(trend_chunks, "UNITS_SAMPLED", 4)
    monkeypatch.setattr(trend_chunks, "CHECKS_PER_CHUNK", checks)
    trend_chunks.plan_chunks(fleet.organisation)
    assert list(TrendChunk.objects.order_by("first_unit").values_list("units", flat=True)) == units_in_chunks


def test_a_rerun_changes_no_row_and_leaves_no_chunk_behind(db: None) -> None:
    fleet = losing_fleet(3)
    refresh_trends(fleet.organisation)
    before = every_row()
    assert refresh_trends(fleet.organisation).fitted == 0
    assert every_row() == before
    assert not TrendChunk.objects.exists()


@pytest.mark.committed
def test_nights_at_once_end_like_a_single_one(committed_db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    alone, shared = losing_fleet(6), losing_fleet(6)
    refresh_trends(alone.organisation)
    monkeypatch.setattr(trend_chunks, "UNITS_PER_CHUNK", 2)
    at_once([partial(refresh_trends, shared.organisation)] * 3)
    assert found_in(shared.organisation) == found_in(alone.organisation)
    with organisation_transaction(shared.organisation):
        assert not TrendNews.objects.of(shared.organisation).exists()


def test_a_unit_with_news_while_it_is_fitted_stays_on_the_list(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    fleet = losing_fleet(2)
    unit = fleet.installation.retarder_id

    def fit_and_be_told(*arguments: Any) -> Any:
        note_news(fleet.organisation.pk, [unit])
        return fit(*arguments)

    monkeypatch.setattr(trend_fits, "fit", fit_and_be_told)
    assert refresh_trends(fleet.organisation).fitted == 1
    assert list(TrendNews.objects.values_list("retarder", flat=True)) == [unit]
    monkeypatch.setattr(trend_fits, "fit", fit)
    assert refresh_trends(fleet.organisation).fitted == 1


def test_a_unit_that_comes_on_the_list_while_its_neighbours_are_written_keeps_its_news_and_its_declines(
    db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    fleet = losing_fleet(4)
    refresh_trends(fleet.organisation)
    first, losing, _, last = Installation.objects.filter(organisation=fleet.organisation).order_by("pk")
    before = list(Decline.objects.filter(installation=losing).values())
    assert [row["state"] for row in before] == ["confirmed"]
    note_news(fleet.organisation.pk, [first.retarder_id, last.retarder_id])

    def store_and_sign_meanwhile(*arguments: Any) -> None:
        store_trends(*arguments)
        note_news(fleet.organisation.pk, [losing.retarder_id])

    monkeypatch.setattr(trends, "store_trends", store_and_sign_meanwhile)
    report = refresh_trends(fleet.organisation)
    assert (report.fitted, report.declines_changed) == (2, 0)
    assert list(Decline.objects.filter(installation=losing).values()) == before
    assert list(TrendNews.objects.values_list("retarder", flat=True)) == [losing.retarder_id]


def test_a_chunk_is_done_by_one_and_taken_over_when_its_claim_lapses(db: None) -> None:
    fleet = losing_fleet(1)
    trend_chunks.plan_chunks(fleet.organisation)
    chunk = TrendChunk.objects.get()
    assert claim_chunk(TrendChunk, fleet.organisation, chunk.pk) is not None
    assert not take_on(TRENDS, fleet.organisation, chunk.pk)
    lapse()
    assert take_on(TRENDS, fleet.organisation, chunk.pk)
    assert not take_on(TRENDS, fleet.organisation, chunk.pk)


def lapse() -> None:
    """Let whoever holds a chunk be dead."""
    lapsed = timezone.now() - CLAIM_LAPSES_AFTER - dt.timedelta(seconds=1)
    TrendChunk.objects.filter(claimed_at__isnull=False).update(claimed_at=lapsed)


def open_chunk(of: Workshop, units: list[int], claimed_at: dt.datetime | None = None) -> TrendChunk:
    ends = {"first_unit": units[0], "last_unit": units[-1], "units": len(units)}
    return TrendChunk.objects.create(
        organisation=of.organisation, planned_at=timezone.now(), claimed_at=claimed_at, claims=bool(claimed_at), **ends
    )


@pytest.mark.parametrize(("claimed_before", "is_kept"), [(dt.timedelta(0), True), (2 * CLAIM_LAPSES_AFTER, False)])
def test_what_a_dead_worker_left_does_not_make_the_next_night_as_old(
    db: None, claimed_before: dt.timedelta, is_kept: bool
) -> None:
    fleet = losing_fleet(1)
    open_chunk(fleet, [fleet.installation.retarder_id], claimed_at := timezone.now() - claimed_before)
    trend_chunks.plan_chunks(fleet.organisation)
    assert TrendChunk.objects.values_list("claimed_at", "claims").get() == (claimed_at if is_kept else None, 1)


def covered(units: list[int]) -> list[int]:
    chunks = list(TrendChunk.objects.filter(finished_at__isnull=True))
    return [unit for unit in units if any(chunk.first_unit <= unit <= chunk.last_unit for chunk in chunks)]


@pytest.mark.parametrize(("claimed_before", "chunks"), [(None, 1), (dt.timedelta(0), 2), (2 * CLAIM_LAPSES_AFTER, 2)])
def test_a_narrow_chunk_of_an_earlier_night_leaves_no_unit_out(
    db: None, claimed_before: dt.timedelta | None, chunks: int
) -> None:
    fleet = losing_fleet(4)
    units = list(TrendNews.objects.order_by("retarder").values_list("retarder", flat=True))
    open_chunk(fleet, units[:2], None if claimed_before is None else timezone.now() - claimed_before)
    trend_chunks.plan_chunks(fleet.organisation)
    assert covered(units) == units
    assert TrendChunk.objects.count() == chunks


def test_the_half_that_is_cut_off_is_not_lost_to_a_narrow_chunk_that_begins_like_it(db: None) -> None:
    fleet = losing_fleet(6)
    units = list(TrendNews.objects.order_by("retarder").values_list("retarder", flat=True))
    now = timezone.now()
    failing = open_chunk(fleet, units, now)
    open_chunk(fleet, units[3:4], now)
    set_aside(TRENDS, fleet.organisation, failing, RuntimeError("one of them"))
    assert covered(units) == units
    assert sorted(TrendChunk.objects.values_list("units", flat=True)) == [1, 2, 3]


class Killed(BaseException):
    """What a worker sees of being killed: nothing that it could still do goes on."""


def kills_until_over(of: Workshop) -> tuple[int, TrendReport]:
    """Return how many workers are killed before a night comes to its end, each followed by the next."""
    for kills in range(20):
        try:
            return kills, refresh_trends(of.organisation)
        except Killed:
            lapse()
    raise AssertionError("the night never ends")


# Once more for each time that what is left of five units is cut: to two and one, or at once to one.
@pytest.mark.parametrize(("parts", "more_kills"), [(3, 2), (chunks.PARTS_OF_KILLING, 1)])
def test_a_unit_that_has_every_worker_killed_is_set_aside_alone(
    parts: int, more_kills: int, db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    sound, fleet = losing_fleet(5), losing_fleet(5)
    refresh_trends(sound.organisation)
    deadly = list(Installation.objects.filter(organisation=fleet.organisation).order_by("pk"))[3].retarder

    def fits_or_kills(of: Organisation, chunk: TrendChunk) -> list[Fit]:
        if chunk.first_unit <= deadly.pk <= chunk.last_unit:
            raise Killed
        return fits_of(of, chunk)

    monkeypatch.setattr(trends, "fits_of", fits_or_kills)
    monkeypatch.setattr(chunks, "PARTS_OF_KILLING", parts)
    kills, report = kills_until_over(fleet)
    assert (kills, report.failed) == (chunks.MOST_CLAIMS + more_kills, 1)
    assert list(TrendNews.objects.values_list("retarder", flat=True)) == [deadly.pk]
    assert trend_chunks.failed_units(fleet.organisation, 9) == [(deadly.serial_number, 1)]
    note_news(fleet.organisation.pk, [fleet.installation.retarder_id])
    kills, report = kills_until_over(fleet)
    assert (kills, report.failed) == (1, 1)
    assert list(TrendNews.objects.values_list("retarder", flat=True)) == [deadly.pk]
    monkeypatch.undo()
    assert refresh_trends(fleet.organisation).fitted == 1
    assert not TrendChunk.objects.exists()
    assert found_in(fleet.organisation) == found_in(sound.organisation)


@pytest.mark.parametrize("kills", range(chunks.MOST_CLAIMS))
def test_workers_killed_by_chance_lose_nothing(db: None, monkeypatch: pytest.MonkeyPatch, kills: int) -> None:
    fleet = losing_fleet(3)
    left = iter([True] * kills)

    def fits_or_kills(of: Organisation, chunk: TrendChunk) -> list[Fit]:
        if next(left, False):
            raise Killed
        return fits_of(of, chunk)

    monkeypatch.setattr(trends, "fits_of", fits_or_kills)
    killed, report = kills_until_over(fleet)
    assert (killed, report.fitted, report.failed) == (kills, 3, 0)


def test_chunks_are_handed_to_other_workers_where_there_are_several(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    fleet = losing_fleet(4)
    monkeypatch.setattr(trend_chunks, "UNITS_PER_CHUNK", 2)
    handed: list[int] = []
    refresh_trends(fleet.organisation, hand_out=lambda _organisation, chunk: handed.append(chunk))
    assert len(set(handed)) == 2


@pytest.mark.parametrize(
    ("columns", "attribution"),
    [
        (("upstream_uohm", "u_upstream_uohm"), "supply"),
        (("shared_ground_uohm", "u_shared_ground_uohm"), "retarder_ground"),
    ],
)
def test_a_resistance_that_rises_is_laid_to_supply_or_ground(
    db: None, columns: tuple[str, str], attribution: str
) -> None:
    fleet = losing_fleet(1)
    _resistance(fleet.installation.pk, columns, lambda visit: 4_000 + 2_500 * max(0, visit - 4))
    refresh_trends(fleet.organisation)
    assert list(Decline.objects.values_list("attribution", "stage", "rising")) == [(attribution, None, False)]


def test_supply_with_the_engine_off_is_not_checked(db: None) -> None:
    fleet = losing_fleet(1, engine_state="off")
    columns = ("upstream_uohm", "u_upstream_uohm")
    _resistance(fleet.installation.pk, columns, lambda visit: 4_000 + 2_500 * max(0, visit - 4))
    refresh_trends(fleet.organisation)
    assert not Decline.objects.exists()


def test_a_decline_follows_its_unit_to_another_vehicle_and_supply_starts_anew(db: None) -> None:
    fleet = losing_fleet(2)
    (losing,) = Installation.objects.exclude(pk=fleet.installation.pk).filter(organisation=fleet.organisation)
    _resistance(losing.pk, ("upstream_uohm", "u_upstream_uohm"), lambda visit: 4_000)
    refresh_trends(fleet.organisation)
    Installation.objects.filter(pk=losing.pk).update(removed_on=dt.date(2026, 6, 1))
    moved = builders.installation(fleet.organisation, retarder=losing.retarder)
    after = [(FIRST_VISIT + (9 + visit) * QUARTER).isoformat() for visit in range(4)]
    told = Workshop(fleet.organisation, moved, fleet.ammeter, fleet.voltmeter)
    for visit in [recorded(told, at).inspection for at in after]:
        Inspection.objects.filter(pk=visit.pk).update(upstream_uohm=9_000, u_upstream_uohm=400, level_3=8_800)
    assert refresh_trends(fleet.organisation).fitted == 1
    assert list(Decline.objects.values_list("installation", "attribution", "stage")) == [(moved.pk, "stage", 3)]


def _resistance(installation: int, columns: tuple[str, str], uohm: Callable[[int], int]) -> None:
    """Give the unit's checks a resistance in the columns that judging derives."""
    rows = list(Inspection.objects.filter(installation=installation).order_by("performed_at"))
    for visit, row in enumerate(rows):
        Inspection.objects.filter(pk=row.pk).update(**{columns[0]: uohm(visit), columns[1]: 400})
