"""How fast a verdict is: one unit alone, and many at once beside the answers made one by one and beside GTC."""

import importlib
from collections.abc import Callable
from functools import partial
from time import process_time
from typing import Any

import numpy as np

from calc.batch import judged_together
from calc.copper import COPPER_TEMPERATURE_COEFFICIENT_PER_K as ALPHA
from calc.evidence import Evidence, Meter, Rating, RestReading, StageReading
from calc.judge import judge, judge_batch
from calc.uncertainty import rectangular_u
from inspections.bench.trend import PeerMissing

Figures = dict[str, Any]

SEED = 20_261_125
STAGES = 4
ROUNDS = 5
UNITS = {"small": 10_000, "full": 100_000}
# Those that the slower ways are timed on.
LOOPED_UNITS = {"small": 300, "full": 3_000}
AIMS = {"alone_ms": 0.5, "together_us_per_unit": 10.0}

RATING = Rating((35.0,) * STAGES, 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)
CLAMP, VOLTMETER = Meter(2.0, 5, 0.1), Meter(0.5, 2, 0.01)
SUPPLY_V, COIL_C, BOUND_C = 13.76, 20.0, 5.0


def bench_speed(size: str) -> Figures:
    """Return what a unit costs in processor time, without ranking causes.

    Every way is timed in turn in one run, each visit's least over the rounds is kept, for whatever else runs on the
    machine only ever adds to it, and of the visits the median.  `verdict_alone_ms` is of what a batch works out too:
    levels, uncertainties, classes and the unit verdict; `alone_ms` of the full answer.

    Raises
    ------
    PeerMissing
        Names the library that is not installed.
    """
    gtc = _gtc()
    visits = visited_units(UNITS[size])
    some = visits[: LOOPED_UNITS[size]]
    rounds = [_round(gtc, visits, some) for _ in range(ROUNDS)]
    seconds = {name: np.array([each[name] for each in rounds]).min(axis=0) for name in rounds[0]}
    together_us = float(seconds["together"]) / len(visits) * 1e6
    answers_us, gtc_us = (float(seconds[name]) / len(some) * 1e6 for name in ("answers", "gtc"))
    return {
        "alone_ms": float(np.median(seconds["alone"])) * 1e3,
        "verdict_alone_ms": float(np.median(seconds["verdict_alone"])) * 1e3,
        "together_us_per_unit": together_us,
        "answers_us_per_unit": answers_us,
        "gtc_us_per_unit": gtc_us,
        "answers_over_together": answers_us / together_us,
        "gtc_over_together": gtc_us / together_us,
        "uncertainties_agree_within": _largest_difference(gtc, some),
        "units": len(visits),
        "stages": STAGES,
        "aims": AIMS,
    }


def speed_table(figures: Figures) -> str:
    """Return the figures in lines."""
    return (
        f"  one unit of {figures['stages']} stages alone: {figures['verdict_alone_ms']:.2f} ms "
        f"(aim {AIMS['alone_ms']:g}), levels, U, classes and unit verdict; "
        f"{figures['alone_ms']:.2f} ms with its full answer\n"
        f"  {figures['units']} units together: {figures['together_us_per_unit']:.1f} µs a unit "
        f"(aim {AIMS['together_us_per_unit']:g}), levels, U, classes and unit verdicts\n"
        f"  with every full answer made: {figures['answers_us_per_unit']:.0f} µs a unit, "
        f"{figures['answers_over_together']:.0f} times as much\n"
        f"  GTC, the same budget without classes: {figures['gtc_us_per_unit']:.0f} µs a unit, "
        f"{figures['gtc_over_together']:.0f} times as much; U agrees within {figures['uncertainties_agree_within']:.0e}"
    )


def visited_units(number: int) -> list[Evidence]:
    """Return single passes of healthy and faulty units, read with one kit and the rest current noted."""
    amps = np.random.default_rng(SEED).normal(40.1, 2.0, (number, STAGES)).round(1).tolist()
    every_stage = tuple(range(1, STAGES + 1))
    return [
        Evidence(
            RATING,
            CLAMP,
            VOLTMETER,
            COIL_C,
            BOUND_C,
            tuple(StageReading(stage, (stage,), SUPPLY_V, a, 8.0) for stage, a in enumerate(unit, start=1)),
            rest=RestReading(14.0, 0.0),
            required_stages=every_stage,
        )
        for unit in amps
    ]


def _round(gtc: Any, visits: list[Evidence], some: list[Evidence]) -> dict[str, Any]:
    """Return seconds: of each visit that is judged alone, and of all visits of each other way."""
    return {
        "alone": _seconds_each(some, partial(judge, rank="never")),
        "verdict_alone": _seconds_each(some, lambda visit: judged_together([visit]).verdicts),
        "together": _seconds(lambda: judged_together(visits).verdicts),
        "answers": _seconds(lambda: judge_batch(some)),
        "gtc": _seconds(lambda: [_gtc_u_a(gtc, visit) for visit in some]),
    }


def _seconds_each(visits: list[Evidence], work: Callable[[Evidence], object]) -> list[float]:
    return [_seconds(partial(work, visit)) for visit in visits]


def _gtc() -> Any:
    try:
        return importlib.import_module("GTC")
    except ImportError:
        raise PeerMissing("GTC is not installed; it stands in requirements/test.txt.") from None


def _gtc_u_a(gtc: Any, visit: Evidence) -> list[float]:
    """Return the standard uncertainty of every stage's normalised current by GTC. [A]"""
    alpha = gtc.ureal(ALPHA, rectangular_u(ALPHA / 100))
    reference = 1 + alpha * (visit.rating.reference_temperature_c - 20.0)
    found = []
    for reading in visit.stage_readings:
        amps = gtc.ureal(reading.current_a, rectangular_u(reading.current_a * 0.02 + 0.5))
        volts = gtc.ureal(reading.supply_voltage_v, rectangular_u(reading.supply_voltage_v * 0.005 + 0.02))
        coil_c = gtc.ureal(COIL_C, rectangular_u(BOUND_C))
        normalised = amps / volts * RATING.reference_voltage_v * (1 + alpha * (coil_c - 20.0)) / reference
        found.append(float(gtc.uncertainty(normalised)))
    return found


def _largest_difference(gtc: Any, visits: list[Evidence]) -> float:
    ours = judged_together(visits).stages.budget.u_combined_a
    theirs = np.array([u_a for visit in visits for u_a in _gtc_u_a(gtc, visit)])
    return float(np.abs(ours / theirs - 1).max())


def _seconds(work: Callable[[], object]) -> float:
    started = process_time()
    work()
    return process_time() - started
