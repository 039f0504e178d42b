"""How early the trend finds what, how rarely it cries wolf, whose loss it says it is, and how far its dates hold.

Everything is simulated with fixed seeds that the calibration of the thresholds does not use.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from inspections.bench.detection import attribution, delays, false_alarms
from inspections.bench.forecasting import coverage
from inspections.bench.low_meter import low_meters
from inspections.bench.turning_meter import BATCHES, TROUBLES, alarms_each_year, turned_found
from inspections.bench.turning_worlds import Depots
from inspections.bench.worlds import Fault, World

Figures = dict[str, Any]
Row = dict[str, Any]

SEED = 20_260_401
QUIET, USUAL, NOISY = World(1.0, 1.0), World(2.0, 1.5), World(3.0, 1.5)
WATCH_PERCENT, ALARM_PERCENT = 1.0, 0.2
SLOW, MEDIUM, FAST = Fault(2.0), Fault(3.0), Fault(5.0)
STEP = Fault(step_percent=5.0)
ALL_SLOW, ALL_MEDIUM, ALL_STEP = Fault(2.0, all_stages=True), Fault(3.0, all_stages=True), Fault(0.0, 5.0, True)
# Median years to the first flag, of a filter that is told that healthy units lie about rated; simulated elsewhere.
REFERENCE_DELAYS = {
    QUIET: {SLOW: 2.00, FAST: 1.13, STEP: 0.79, ALL_SLOW: 1.69, ALL_STEP: 0.60},
    USUAL: {SLOW: 2.88, FAST: 1.64, STEP: 1.73, ALL_SLOW: 2.16, ALL_STEP: 0.86},
    NOISY: {SLOW: 3.68, FAST: 2.09, ALL_SLOW: 2.36, ALL_STEP: 1.03},
}
LARGEST_LATENESS = 1.05
# Clamps that are flagged as turned though they have not.
FALSELY_TURNED_PERCENT = 1.0
LEAST_DEPOTS = 50
# Real declines of units that one clamp mostly reads, taken for the clamp's.
WRONGLY_WITHDRAWN_PERCENT = 1.0
TURNING_LATE = Depots(units=100, clamps=2, years=2.0)
TURNING_IN_WEATHER = Depots(units=100, clamps=2, wave_percent=1.5, weather_percent=0.7)
INSTALLATIONS = {
    "small": {"false": 4000, "delay": 2000, "attribution": 2000, "forecast": 2000, "meters": 50, "turned": 2000},
    "full": {"false": 50_000, "delay": 8000, "attribution": 4000, "forecast": 4000, "meters": 250, "turned": 20_000},
}


def bench_detect(size: str) -> Figures:
    """Return the figures of the trend's detection, `small` or `full`."""
    counts = INSTALLATIONS[size]
    rows = [
        *_false_alarm_rows(counts["false"], small=size == "small"),
        *_delay_rows(counts["delay"], small=size == "small"),
        *_attribution_rows(counts["attribution"], small=size == "small"),
        *_forecast_rows(counts["forecast"]),
        *_meter_rows(counts["meters"]),
        *_turned_rows(counts["turned"], small=size == "small"),
        _limit_row(counts["delay"]),
    ]
    return {"seed": SEED, "rows": rows}


def detect_table(figures: Figures) -> str:
    """Return the figures as one table."""
    lines = [f"{'what':<34}{'where':<48}{'measured':>12}{'aim':>16}  reached"]
    for row in figures["rows"]:
        reached = {True: "yes", False: "NO", None: ""}[row["reached"]]
        lines.append(f"{row['what']:<34}{row['where']:<48}{row['measured']:>12}{row['aim']:>16}  {reached}")
    return "\n".join(lines)


def _row(what: str, where: str, measured: float, aim: str, reached: bool | None, digits: int = 2) -> Row:
    return {"what": what, "where": where, "measured": round(measured, digits), "aim": aim, "reached": reached}


def _false_alarm_rows(installations: int, *, small: bool) -> Iterator[Row]:
    cells = (
        [(4, USUAL)] if small else [(4, QUIET), (4, USUAL), (4, NOISY), (1, USUAL), (2, USUAL), (3, USUAL), (8, USUAL)]
    )
    for stages, world in cells:
        usual = false_alarms(world, SEED, stages, installations)
        harsh = false_alarms(world.harsh(), SEED + 1, stages, installations)
        where = _cell(world, stages)
        for name, rates in (("realistic", usual), ("harsh", harsh)):
            yield _row(
                "healthy watched, % a year",
                f"{where}, {name}",
                rates.watched_percent,
                *_aim(name, WATCH_PERCENT, rates.watched_percent),
            )
            yield _row(
                "healthy confirmed, % a year",
                f"{where}, {name}",
                rates.confirmed_percent,
                *_aim(name, ALARM_PERCENT, rates.confirmed_percent),
            )
        yield _row("healthy rises flagged, % a year", where, usual.rises_percent, "", None)
        yield _row("mirror rate, % a year", where, usual.mirror_percent, "", None)
        yield _row("healthy installation-years", where, usual.installation_years, "", None, 0)


def _aim(name: str, percent: float, measured: float) -> tuple[str, bool]:
    if name == "harsh":
        return f"<= {2 * percent:g}", measured <= 2 * percent
    return f"{0.8 * percent:g} to {1.2 * percent:g}", 0.8 * percent <= measured <= 1.2 * percent


def _delay_rows(installations: int, *, small: bool) -> Iterator[Row]:
    for world, expected in REFERENCE_DELAYS.items():
        if small and world != USUAL:
            continue
        for fault, years in expected.items():
            found = delays(world, SEED + 2, 4, installations, fault)
            aim = LARGEST_LATENESS * years
            where = f"{_cell(world, 4)}, {_named(fault)}"
            yield _row("median delay, years", where, found.median_years, f"<= {aim:.2f}", found.median_years <= aim)


def _attribution_rows(installations: int, *, small: bool) -> Iterator[Row]:
    for stages in (4,) if small else (2, 3, 4, 8):
        for world in (USUAL,) if small else (QUIET, USUAL, NOISY):
            for fault in (MEDIUM, ALL_MEDIUM):
                found = attribution(world, SEED + 3, stages, installations, fault)
                least = None if world == NOISY else _least_right(stages, fault)
                where = f"{_cell(world, stages)}, {_named(fault)}"
                reached = None if least is None else found.right_percent >= least
                aim = "reported" if least is None else f">= {least:g}"
                yield _row("laid to the right cause, %", where, found.right_percent, aim, reached, 1)


def _least_right(stages: int, fault: Fault) -> float:
    if stages == 2:
        return 94.0 if fault.all_stages else 85.0
    if stages == 3:
        return 92.0
    return 98.0 if fault.all_stages else 95.0


def _forecast_rows(installations: int) -> Iterator[Row]:
    for fault in (Fault(1.5), SLOW, MEDIUM, FAST):
        found = coverage(USUAL, SEED + 4, 4, installations, fault)
        where = f"{_cell(USUAL, 4)}, {_named(fault)}"
        covered, safe = found.covered_percent, found.earliest_safe_percent
        yield _row("90 % interval covers, %", where, covered, "88 to 99", 88 <= covered <= 99, 1)
        yield _row("5 % point safe, %", where, safe, ">= 92", safe >= 92, 1)
        yield _row("upper end open, %", where, found.open_end_percent, "", None, 1)
        yield _row("median left: true, years", where, found.true_years, "", None)
        yield _row("median left: forecast, years", where, found.median_years, "", None)
        if found.already_below:
            yield _row("below already and told so, %", where, found.said_today_percent, "", None, 1)


def _meter_rows(meters: int) -> Iterator[Row]:
    found = low_meters(USUAL, SEED + 5, meters)
    where = f"{meters} meters, {found.planted} at -2 %"
    yield _row("low meters found", where, found.found, str(found.planted), found.found == found.planted, 0)
    yield _row("other meters flagged", where, found.others_flagged, "", None, 0)
    yield _row("error of the effects, %", where, found.effect_error_percent, "", None)
    yield _row("false declines as read", where, found.false_declines_as_read, "", None, 0)
    yield _row("left once corrected", where, found.false_declines_corrected, "", None, 0)
    yield _row("withdrawn", where, found.withdrawn, "", None, 0)


def _turned_rows(units: int, *, small: bool) -> Iterator[Row]:
    """Return how clamps that turn with no calibration on file are found, and healthy ones left alone."""
    for trouble in TROUBLES:
        alarms = alarms_each_year(trouble.depots, USUAL, SEED + 7, _depots(units, trouble.depots))
        percent, limit = alarms.flagged_percent, FALSELY_TURNED_PERCENT
        yield _row("healthy clamps turned, % a year", trouble.name, percent, f"<= {limit:g}", percent <= limit)
        yield _row("healthy clamps doubted, % a year", trouble.name, alarms.doubted_percent, "", None)
        yield _row("clamp-years", trouble.name, alarms.clamp_years, "", None, 0)
    for batch in BATCHES:
        found = turned_found(batch.depots, USUAL, SEED + 9, _depots(units, batch.depots))
        wrongly, limit = found.real_withdrawn_percent, WRONGLY_WITHDRAWN_PERCENT
        yield _row("clamps of losing units doubted, %", batch.name, found.doubted_percent, "", None, 0)
        yield _row("clamps of losing units blamed, %", batch.name, found.found_percent, "", None, 1)
        yield _row(
            "real ones withdrawn, %", f"{batch.name}, of {found.real}", wrongly, f"<= {limit:g}", wrongly <= limit
        )
    single = (Depots(), Depots(units=50))
    several = (Depots(units=80, clamps=4), Depots(units=100, clamps=2), Depots(units=200, clamps=4))
    for depots in (single[:1] if small else single) + (several[:2] if small else several):
        for step in (-1.5, -2.5) if small else (-1.0, -1.5, -2.0, -2.5, -3.0):
            yield from _turned_cell(replace(depots, step_percent=step), units, f"{step:g} %")
    for depots in (replace(TURNING_LATE, step_percent=-2.5), replace(TURNING_IN_WEATHER, step_percent=-2.5)):
        yield from _turned_cell(depots, units, "-2.5 %")
    for drift in (-1.0, -2.0):
        yield from _turned_cell(
            Depots(units=100, clamps=2, drift_percent_per_year=drift), units, f"{drift:g} %/y drift"
        )


def _depots(units: int, depots: Depots) -> int:
    return max(units // depots.units, LEAST_DEPOTS)


def _turned_cell(depots: Depots, units: int, change: str) -> Iterator[Row]:
    found = turned_found(replace(depots, losing_share=0.1), USUAL, SEED + 8, _depots(units, depots))
    weather = ", weather" if depots.weather_percent else ""
    where = f"{depots.units // depots.clamps} x {depots.clamps}, {depots.years:g} y{weather}, {change}"
    yield _row("turned clamps found, %", where, found.found_percent, "", None, 0)
    yield _row("turned clamps only doubted, %", where, found.doubted_percent, "", None, 0)
    if depots.clamps > 1:
        yield _row("others flagged, %", where, found.others_percent, "", None, 1)
    if found.found_percent:
        yield _row("error of the day, days", where, found.date_error_days, "", None, 0)
        yield _row("error of the effect, %", where, found.effect_error_percent, "", None)
    withdrawn, wrongly = found.withdrawn_percent, found.real_withdrawn_percent
    yield _row("its declines withdrawn, %", f"{where}, of {found.declines_made}", withdrawn, "", None, 0)
    yield _row("real ones withdrawn, %", f"{where}, of {found.real}", wrongly, "", None, 1)


def _limit_row(installations: int) -> Row:
    found = delays(USUAL, SEED + 6, 4, installations, Fault(1.0))
    return _row(
        "cannot do: found in 3 years, %", f"{_cell(USUAL, 4)}, 1 %/year", found.within_three_years_percent, "", None, 1
    )


def _cell(world: World, stages: int) -> str:
    return f"{stages} st., {world.stage_sd_percent:g} %, {world.shared_sd_percent:g} %"


def _named(fault: Fault) -> str:
    size = f"step {fault.step_percent:g} %" if fault.step_percent else f"{fault.percent_per_year:g} %/year"
    return f"{'all ' if fault.all_stages else ''}{size}"
