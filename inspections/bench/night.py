"""How fast a night fits a fleet's trends, beside the bare read of what it reads and the way of one unit at a time."""

import importlib
from collections.abc import Callable
from statistics import median
from time import perf_counter
from typing import Any

from django.db import connection

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from calc.trend import stepped_effects
from calc.trend.packed import FIGURES
from inspections.bench.database import NoScratchDatabase, scratch_database
from inspections.bench.night_fleet import STAGES, VISITS, everything_changes, make_fleet, put_on_the_list
from inspections.bench.nights_in_turn import ROUNDS, Fleet, nights_in_turn
from inspections.bench.trend import PeerMissing
from inspections.check_table import RESISTANCES
from inspections.models import Inspection, Trend
from inspections.services.meter_evidence import period_keys, visits_of_all
from inspections.services.meter_spool import VisitSpool
from inspections.services.trends import refresh_trends

Figures = dict[str, Any]

# The fleet that is measured, and the larger one that shows whether twice the fleet takes twice the time.
INSTALLATIONS = {"small": (20_000, 40_000), "full": (100_000, 300_000), "million": (100_000, 1_000_000)}
LOOPED = {"small": 40, "full": 200, "million": 200}
# A night of the largest fleet takes minutes.
ROUNDS_OF_LARGER = {"small": 3, "full": 3, "million": 1}
# Of so many units one has news in an ordinary night.
NEWS_OF_ONE_IN = 90

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
            fleet = Fleet(name, make_fleet(few))
            figures = _in_turn(fleet.organisation)
            figures["one_by_one_s"] = _one_by_one_rate(looped, fleet.organisation, LOOPED[size])
            with scratch_database() as larger_name:
                larger = Fleet(larger_name, make_fleet(many))
                figures |= nights_in_turn(fleet, larger, ROUNDS_OF_LARGER[size])
    except NoScratchDatabase as missing:
        raise PeerMissing(str(missing)) from None
    return {"installations": few, "larger": many, "visits": VISITS, "stages": STAGES, **figures}


def night_table(figures: Figures) -> str:
    """Return the figures as lines, each aim beside what was reached."""
    few, many, full_s = figures["installations"], figures["larger"], figures["full_s"]
    one_by_one = few * figures["one_by_one_s"]
    scale = figures["times_smaller"] / (many / few)
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


def _in_turn(organisation: Organisation) -> Figures:
    """Return the bare read, the full night and the night with little news, measured in turn."""
    refresh_trends(organisation)
    raw, full, news = [], [], []
    for _ in range(ROUNDS):
        everything_changes(organisation)
        raw.append(_seconds(lambda: _raw_read(organisation)))
        full.append(_seconds(lambda: refresh_trends(organisation)))
        put_on_the_list(organisation, NEWS_OF_ONE_IN)
        news.append(_seconds(lambda: refresh_trends(organisation)))
    return {
        "raw_s": median(raw),
        "full_s": median(full),
        "news_s": median(news),
        "over_raw": median(one / other for one, other in zip(full, raw, strict=True)),
        "news_share": median(one / other for one, other in zip(news, full, strict=True)),
        "clamps_s": _seconds(lambda: _measure_clamps(organisation)),
    }


def _measure_clamps(organisation: Organisation) -> None:
    with organisation_transaction(organisation):
        keys = period_keys(organisation)
    with VisitSpool(lambda: visits_of_all(organisation, keys)) as visits:
        stepped_effects(visits, len(keys))


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
