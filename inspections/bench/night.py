"""How fast a night fits a fleet's trends, beside the bare read of what it reads and the way of one unit at a time."""

import importlib
import multiprocessing
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from statistics import median
from time import perf_counter
from typing import Any

from django.db import connection, connections

from accounts.models import Organisation
from accounts.owner import owner_alias
from accounts.tenancy import organisation_transaction
from calc.trend.packed import FIGURES
from inspections.bench.database import NoScratchDatabase, scratch_database
from inspections.bench.night_fleet import STAGES, VISITS, make_fleet, tidy
from inspections.bench.trend import PeerMissing
from inspections.bench.workers import begin, settle, work
from inspections.models import Inspection, Trend
from inspections.series import RESISTANCES
from inspections.services.meter_effects import measured_effects
from inspections.services.trend_chunks import plan_chunks
from inspections.services.trends import refresh_trends

Figures = dict[str, Any]

# The fleet that is measured, and the larger one that shows whether twice the fleet takes twice the time.
INSTALLATIONS = {"small": (20_000, 40_000), "full": (100_000, 300_000), "million": (100_000, 1_000_000)}
LOOPED = {"small": 40, "full": 200, "million": 200}
ROUNDS = {"small": 3, "full": 3, "million": 3}
# Of so many units one has news in an ordinary night.
NEWS_OF_ONE_IN = 90
WORKERS = 2

_RAW_COLUMNS = ", ".join(
    [
        "v.id, i.retarder_id, i.id, v.performed_at, v.performed_on, v.ammeter_id, v.rating_revision_id",
        "v.coil_temperature_method, v.purpose, v.engine_state, v.u_meter, v.u_visit",
        *(f"v.level_{stage}, v.u_{stage}" for stage in range(1, STAGES + 1)),
        *(f"v.{name}" for name in RESISTANCES),
    ]
)
_RAW = f"""COPY (SELECT {_RAW_COLUMNS}
FROM fleet_installation i JOIN inspections_inspection v ON v.installation_id = i.id
WHERE i.organisation_id = %s AND v.superseded_by_id IS NULL AND v.signed_at IS NOT NULL) TO STDOUT (FORMAT BINARY)"""  # noqa: S608


def bench_night(size: str) -> Figures:
    """Return the times of a full night, of one with little news, and of what they are compared with.

    Raises
    ------
    PeerMissing
        Names the library, or the database server, that is missing.
    """
    few, many = INSTALLATIONS[size]
    try:
        with scratch_database() as name:
            looped = _one_by_one()
            organisation = make_fleet(few)
            figures = _in_turn(organisation, ROUNDS[size]) | _shared_out(name, organisation, ROUNDS[size])
            figures["one_by_one_s"] = _one_by_one_rate(looped, organisation, LOOPED[size])
        with scratch_database() as name:
            figures |= _larger(name, make_fleet(many))
    except NoScratchDatabase as missing:
        raise PeerMissing(str(missing)) from None
    return {"installations": few, "larger": many, "visits": VISITS, "stages": STAGES, **figures}


def night_table(figures: Figures) -> str:
    """Return the figures as lines, each aim beside what was reached."""
    few, many, full_s = figures["installations"], figures["larger"], figures["full_s"]
    one_by_one = few * figures["one_by_one_s"]
    scale = figures["larger_s"] / figures["one_worker_s"] / (many / few)
    return "\n".join(
        [
            f"{few:,} installations of {figures['visits']} checks and {figures['stages']} stages, all changed",
            f"bare binary read of the same columns   {figures['raw_s']:>10.2f} s",
            f"full night, one process                {full_s:>10.2f} s",
            _against("  times the bare read", figures["over_raw"], "<= 4", figures["over_raw"] <= 4),
            f"row by row with scipy, pymannkendall   {one_by_one:>10.0f} s, worked out from a sample",
            _against("  times the full night", one_by_one / full_s, ">= 500", one_by_one / full_s >= 500),
            f"night with news of one in {NEWS_OF_ONE_IN}           {figures['news_s']:>10.2f} s",
            _against("  of the full night", figures["news_share"], "<= 0.05", figures["news_share"] <= 0.05),
            f"one worker, two workers                {figures['one_worker_s']:>10.2f} s {figures['workers_s']:.2f} s",
            _against("  gain of the second", figures["gain"], ">= 1.5", figures["gain"] >= 1.5),
            f"{many:,} installations, one worker      {figures['larger_s']:>10.2f} s",
            _against("  per unit, of the smaller fleet's", scale, "0.9 to 1.1", 0.9 <= scale <= 1.1),
            f"peak memory, smaller, larger fleet     {figures['memory_mb']:>10.0f} MB"
            f" {figures['larger_memory_mb']:.0f} MB",
            _against("  larger", figures["larger_memory_mb"], "<= 300", figures["larger_memory_mb"] <= 300),
            f"clamps measured against each other     {figures['clamps_s']:>10.2f} s, once a week",
        ]
    )


def _against(what: str, value: float, aim: str, reached: bool) -> str:
    return f"{what:<38} {value:>10.3g}   aim {aim}: {'yes' if reached else 'NO'}"


def _in_turn(organisation: Organisation, rounds: int) -> Figures:
    """Return the bare read, the full night and the night with little news, measured in turn."""
    refresh_trends(organisation)
    raw, full, news = [], [], []
    for _ in range(rounds):
        _everything_changes(organisation)
        raw.append(_seconds(lambda: _raw_read(organisation)))
        full.append(_seconds(lambda: refresh_trends(organisation)))
        _news(organisation, NEWS_OF_ONE_IN)
        news.append(_seconds(lambda: refresh_trends(organisation)))
    return {
        "raw_s": median(raw),
        "full_s": median(full),
        "news_s": median(news),
        "over_raw": median(one / other for one, other in zip(full, raw, strict=True)),
        "news_share": median(one / other for one, other in zip(news, full, strict=True)),
        "clamps_s": _seconds(lambda: measured_effects(organisation)),
    }


def _shared_out(database: str, organisation: Organisation, rounds: int) -> Figures:
    """Return the same night done by one worker and by two, in turn."""
    alone, together, memory_mb = list[float](), list[float](), 0.0
    with _workers(database) as full_night:
        for _ in range(rounds):
            for workers, seconds in ((1, alone), (WORKERS, together)):
                took, peak_mb = full_night(organisation, workers)
                seconds.append(took)
                memory_mb = max(memory_mb, peak_mb)
    return {
        "one_worker_s": median(alone),
        "workers_s": median(together),
        "gain": median(one / two for one, two in zip(alone, together, strict=True)),
        "memory_mb": memory_mb,
    }


def _larger(database: str, organisation: Organisation) -> Figures:
    with _workers(database) as full_night:
        # The first night stores every trend and decline, which the nights of the smaller fleet only change.
        full_night(organisation, WORKERS)
        took, peak_mb = full_night(organisation, 1)
    return {"larger_s": took, "larger_memory_mb": peak_mb}


@contextmanager
def _workers(database: str) -> Iterator[Callable[[Organisation, int], tuple[float, float]]]:
    """Give a function that has a full night done by so many processes, and returns seconds and peak memory [MB]."""
    with multiprocessing.get_context("spawn").Pool(WORKERS, begin, [database]) as pool:
        pool.map(settle, range(WORKERS), chunksize=1)

        def full_night(organisation: Organisation, workers: int) -> tuple[float, float]:
            _everything_changes(organisation)
            plan_chunks(organisation)
            began = perf_counter()
            peaks = pool.map(work, [organisation.pk] * workers, chunksize=1)
            return perf_counter() - began, max(peaks)

        yield full_night


def _everything_changes(organisation: Organisation) -> None:
    """Make every unit have news and every stored trend differ from what will be found."""
    with connections[owner_alias()].cursor() as cursor:
        cursor.execute("UPDATE inspections_trend SET next_check_on = '2000-01-01'")
    _news(organisation, 1)


def _news(organisation: Organisation, of_one_in: int) -> None:
    with connections[owner_alias()].cursor() as cursor:
        cursor.execute(
            "INSERT INTO inspections_trendnews (organisation_id, retarder_id, mark) "
            "SELECT organisation_id, id, 1 FROM fleet_retarder WHERE organisation_id = %s AND id %% %s = 0",
            [organisation.pk, of_one_in],
        )
    tidy()


def _raw_read(organisation: Organisation) -> None:
    with (
        organisation_transaction(organisation),
        connection.cursor() as cursor,
        cursor.copy(_RAW, [organisation.pk]) as copy,
    ):
        for _ in copy:
            pass


def _one_by_one() -> Callable[[Trend], None]:
    """Return the way that one would write first: rows as objects, a library call a series, one update a unit."""
    from scipy.stats import theilslopes

    try:
        mann_kendall = importlib.import_module("pymannkendall")
    except ImportError as error:
        raise PeerMissing(f"{error.name} is not installed; it comes with the test requirements") from None

    def refit(trend: Trend) -> None:
        checks = Inspection.objects.filter(installation=trend.installation_id, superseded_by__isnull=True)
        rows = list(checks.order_by("performed_at"))
        days = [row.performed_at.timestamp() / 86_400 for row in rows]
        figures = []
        for stage in range(1, STAGES + 1):
            levels = [getattr(row, f"level_{stage}") / 100 for row in rows]
            slope = theilslopes(levels, days, 0.90)
            figures += [slope.slope, slope.low_slope, slope.high_slope, mann_kendall.original_test(levels).p]
        trend.figures = b"\0" * 8 * FIGURES * len(figures)
        trend.save(update_fields=["figures", "changed_at"])

    return refit


def _one_by_one_rate(refit: Callable[[Trend], None], organisation: Organisation, sample: int) -> float:
    """Return the seconds that one unit takes."""
    with organisation_transaction(organisation):
        trends = list(Trend.objects.of(organisation).order_by("pk")[:sample])
        began = perf_counter()
        for trend in trends:
            refit(trend)
        return (perf_counter() - began) / sample


def _seconds(work: Callable[[], object]) -> float:
    began = perf_counter()
    work()
    return perf_counter() - began
