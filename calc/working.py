"""The steps between a reading and its verdict, as the judge took them, for a page that shows its working."""

import math
from dataclasses import dataclass

import numpy as np

from calc.answers import finite_or_none
from calc.columns import columns_of
from calc.copper import resistance_growth
from calc.evidence import Evidence
from calc.meters import figures_at, half_width_at
from calc.stages import StageResults, judge_columns
from calc.temperature import coil_temperature
from calc.uncertainty import effective_degrees_of_freedom, unreliability_of_scatter_percent


@dataclass(frozen=True, slots=True)
class StageWorking:
    """The figures of one stage between its reading and its verdict; None where a step has no finite answer.

    `u_clamp_a` is the clamp's own standard uncertainty at the amps read, a rectangle over its stated accuracy.
    `scatter_unreliability_percent` says how far the scatter of repeats is itself uncertain.
    `before_…` is the state without the stage, where the stage is judged by a step of a cumulative pass.
    """

    stage: int
    supply_voltage_v: float
    current_a: float
    repeats: int
    clamp_accuracy_percent: float
    clamp_accuracy_counts: float
    clamp_resolution_a: float
    u_clamp_a: float
    before_voltage_v: float | None
    before_current_a: float | None
    subtracted_a: float
    conductance_s: float | None
    coil_temperature_c: float
    coil_temperature_bound_c: float
    reference_temperature_c: float
    reference_voltage_v: float | None
    resistance_ratio: float
    normalised_current_a: float | None
    u_combined_a: float | None
    coverage_factor: float | None
    degrees_of_freedom: float | None
    scatter_unreliability_percent: float | None


def stage_workings(evidence: Evidence) -> tuple[StageWorking, ...]:
    """Return the steps of every stage read, ascending.

    Parameters
    ----------
    evidence : Evidence
        What a judgement rests on, as for `calc.judge.judge`.

    Raises
    ------
    OutOfRange
        Names the quantity, its value and the permitted range.

    References
    ----------
    GUM (JCGM 100:2008) 4.3.7, 5.1.2 and G.4; JCGM 106:2012 8.3; IEC 60028:1925.

    Examples
    --------
    >>> from calc.evidence import Meter, Rating, StageReading
    >>> rating = Rating((35.0,) * 4, 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)
    >>> reading = StageReading(stage=1, energised=(1,), supply_voltage_v=13.76, current_a=40.1)
    >>> working = stage_workings(
    ...     Evidence(rating, Meter(2.0, 5, 0.1), Meter(0.5, 2, 0.01), 20.0, 5.0, (reading,))
    ... )[0]
    >>> round(working.conductance_s, 4), round(working.normalised_current_a, 2), working.degrees_of_freedom
    (2.9142, 34.97, None)
    """
    columns = columns_of([evidence])
    results = judge_columns(columns)
    conditions = columns.conditions
    reference_v = evidence.rating.reference_voltage_v or None
    hot = float(resistance_growth(conditions.coil_temperature_c)[0])
    ratio = hot / float(resistance_growth(conditions.reference_temperature_c)[0])
    degrees = _degrees_of_freedom(results, (reference_v or 1.0) * ratio)
    return tuple(
        _stage_working(row, results, evidence, ratio, float(degrees[row])) for row in range(results.rows.stage.size)
    )


def _degrees_of_freedom(results: StageResults, amps_per_siemens: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    own, before = results.rows.own, results.rows.before
    scatter_a = np.stack([own.u_scatter_s, before.u_scatter_s]) * amps_per_siemens
    counts = np.maximum(np.stack([own.count, before.count]) - 1, 1)
    return effective_degrees_of_freedom(scatter_a, counts, results.budget.u_combined_a)


def _stage_working(
    row: int, results: StageResults, evidence: Evidence, ratio: float, degrees_of_freedom: float
) -> StageWorking:
    rows, budget, coil = results.rows, results.budget, coil_temperature(evidence)
    is_step = bool(rows.is_step[row])
    answered = bool(results.reason[row] == 0)
    read_a = float(rows.own.current_a[row])
    clamp = figures_at(evidence.ammeter, read_a)
    conductance_s = rows.own.conductance_s[row] - rows.before.conductance_s[row]
    return StageWorking(
        stage=int(rows.stage[row]) + 1,
        supply_voltage_v=float(rows.own.supply_voltage_v[row]),
        current_a=read_a,
        repeats=int(rows.own.count[row]),
        clamp_accuracy_percent=clamp.accuracy_percent,
        clamp_accuracy_counts=clamp.accuracy_counts,
        clamp_resolution_a=clamp.resolution,
        u_clamp_a=half_width_at(evidence.ammeter, read_a) / math.sqrt(3),
        before_voltage_v=float(rows.before.supply_voltage_v[row]) if is_step else None,
        before_current_a=float(rows.before.current_a[row]) if is_step else None,
        subtracted_a=float(results.rest.subtracted_a[0]),
        conductance_s=finite_or_none(float(conductance_s)),
        coil_temperature_c=coil.temperature_c,
        coil_temperature_bound_c=coil.bound_c,
        reference_temperature_c=evidence.rating.reference_temperature_c,
        reference_voltage_v=evidence.rating.reference_voltage_v or None,
        resistance_ratio=ratio,
        normalised_current_a=finite_or_none(float(results.normalised_current_a[row])) if answered else None,
        u_combined_a=finite_or_none(float(budget.u_combined_a[row])) if answered else None,
        coverage_factor=finite_or_none(float(budget.coverage_factor[row])) if answered else None,
        degrees_of_freedom=finite_or_none(degrees_of_freedom) if answered else None,
        scatter_unreliability_percent=_unreliability_percent(int(rows.own.count[row])),
    )


def _unreliability_percent(repeats: int) -> float | None:
    return unreliability_of_scatter_percent(repeats) if repeats > 1 else None
