"""Two straight lines through a cumulative pass: the resistance before the box, and what the stages share after it.

Volts against amps give the source's voltage and the resistance upstream of the box.  The resistance that the box sees,
times the number of stages on, against that number gives one stage's own resistance and the shared one in the ground.
Neither needs a specification beyond which stages are equal.
"""

from collections.abc import Sequence
from math import sqrt
from typing import NamedTuple

from calc.copper import LOWEST_USABLE_VOLTAGE_V
from calc.evidence import Evidence, Meter
from calc.evidence_apart import Checked, Limits
from calc.judgement import CircuitLines, Finding
from calc.meters import half_width_at
from calc.uncertainty import SQRT_3

# Random part of a careful reading, one standard deviation.  Judgement: the noise for which the repeatability of the two
# lines was simulated, with twice the volts on a 24 V system.
VOLTS_SHARE, VOLTS_FIXED_V = 0.001, 0.010
AMPS_SHARE, AMPS_FIXED_A = 0.007, 0.15
FEWEST_POINTS = 3
# A point further off the line than this many standard deviations bends it.
BEND_SIGMA = 3.0
# 0.20 V per 100 A, a rule of thumb for one heavy circuit, a secondary source: good for a caution, not for a verdict.
RULE_OF_THUMB_MOHM = 2.0
_MOHM = 1000.0


class LineFit(NamedTuple):
    """Intercept and slope of a straight line, their standard uncertainties, and whether the points bend."""

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    curved: bool


class _Step(NamedTuple):
    number: int
    share: float
    volts: float
    amps: float


def straight_line(xs: Sequence[float], ys: Sequence[float], sigmas: Sequence[float]) -> LineFit | None:
    """Return the least-squares line, None with fewer than three points or none apart.

    Parameters
    ----------
    xs, ys : sequence of float
        Points.
    sigmas : sequence of float
        Standard deviation of each y.

    Notes
    -----
    A point more than three standard deviations off the line makes it curved.  Uncertainties follow from the mean
    variance of the points, not from their scatter: so few points tell nothing of it.

    Examples
    --------
    >>> fit = straight_line([0.0, 1.0, 2.0], [14.0, 13.0, 12.0], [0.01] * 3)
    >>> round(fit.intercept, 6), round(fit.slope, 6), fit.curved
    (14.0, -1.0, False)
    """
    number = len(xs)
    if number < FEWEST_POINTS:
        return None
    mean_x, mean_y = sum(xs) / number, sum(ys) / number
    spread = sum((x - mean_x) ** 2 for x in xs)
    if spread <= 0:
        return None
    slope = sum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True)) / spread
    intercept = mean_y - slope * mean_x
    sigma = sqrt(sum(one * one for one in sigmas) / number)
    residuals = (y - intercept - slope * x for x, y in zip(xs, ys, strict=True))
    curved = any(abs(residual) > BEND_SIGMA * one for residual, one in zip(residuals, sigmas, strict=True))
    return LineFit(intercept, slope, sigma * sqrt(1 / number + mean_x**2 / spread), sigma / sqrt(spread), curved)


def circuit_lines(evidence: Evidence, subtracted_a: float) -> CircuitLines | None:
    """Return what the two lines say of a cumulative pass, None where no three steps of one were read."""
    if all(len(reading.energised) == 1 for reading in evidence.stage_readings):
        return None
    steps = _steps(evidence, subtracted_a)
    if len(steps) < FEWEST_POINTS - 1:
        return None
    upstream, shared = _upstream(evidence, steps, subtracted_a), _shared(evidence, steps)
    if upstream is None and shared is None:
        return None
    straight_upstream = None if upstream is None or upstream.curved else upstream
    straight_shared = None if shared is None or shared.curved else shared
    return CircuitLines(
        source_voltage_v=straight_upstream and straight_upstream.intercept,
        upstream_resistance_mohm=straight_upstream and -straight_upstream.slope * _MOHM,
        upstream_expanded_uncertainty_mohm=straight_upstream and 2 * straight_upstream.u_slope * _MOHM,
        upstream_curved=upstream is not None and upstream.curved,
        stage_resistance_mohm=straight_shared and straight_shared.intercept * _MOHM,
        stage_expanded_uncertainty_mohm=straight_shared and 2 * _with_gain(evidence, straight_shared, steps) * _MOHM,
        shared_ground_resistance_mohm=straight_shared and straight_shared.slope * _MOHM,
        shared_ground_expanded_uncertainty_mohm=straight_shared and 2 * straight_shared.u_slope * _MOHM,
        shared_ground_curved=shared is not None and shared.curved,
    )


def resistance_parts(
    lines: CircuitLines | None, limits: Limits
) -> tuple[tuple[Checked, tuple[Finding, ...]], tuple[Checked, tuple[Finding, ...]]]:
    """Return how the upstream and the shared resistance stand against the user's limits.

    Bad is what lies above its limit by more than its expanded uncertainty, good what lies below it by as much; between
    them, without a limit or on a curved line, nothing is checked.

    Examples
    --------
    >>> resistance_parts(None, Limits())[0]
    ('not_checked', ())
    """
    if lines is None:
        return ("not_checked", ()), ("not_checked", ())
    upstream = _part(
        "upstream_resistance",
        lines.upstream_resistance_mohm,
        lines.upstream_expanded_uncertainty_mohm,
        limits.upstream_resistance_mohm,
        lines.upstream_curved,
    )
    shared = _part(
        "shared_ground_resistance",
        lines.shared_ground_resistance_mohm,
        lines.shared_ground_expanded_uncertainty_mohm,
        limits.shared_ground_resistance_mohm,
        lines.shared_ground_curved,
    )
    return upstream, shared


def _part(
    code: str, value_mohm: float | None, expanded_mohm: float | None, limit_mohm: float | None, curved: bool
) -> tuple[Checked, tuple[Finding, ...]]:
    if curved:
        return "not_checked", (Finding(f"{code}_curved", "note", None, {}),)
    if value_mohm is None or expanded_mohm is None:
        return "not_checked", ()
    if limit_mohm is None:
        return "not_checked", _shows(code, value_mohm, expanded_mohm)
    params = {"resistance_mohm": value_mohm, "expanded_uncertainty_mohm": expanded_mohm, "limit_mohm": limit_mohm}
    if value_mohm > limit_mohm + expanded_mohm:
        return "bad", (Finding(f"{code}_high", "defect", None, params),)
    return ("good" if value_mohm <= limit_mohm - expanded_mohm else "not_checked"), ()


def _shows(code: str, value_mohm: float, expanded_mohm: float) -> tuple[Finding, ...]:
    """Return a caution where no limit is set and the shared ground alone surely exceeds the rule for a circuit."""
    if code != "shared_ground_resistance" or value_mohm - expanded_mohm <= RULE_OF_THUMB_MOHM:
        return ()
    params = {
        "resistance_mohm": value_mohm,
        "expanded_uncertainty_mohm": expanded_mohm,
        "rule_mohm": RULE_OF_THUMB_MOHM,
    }
    return (Finding("shared_ground_resistance_shows", "caution", None, params),)


def _steps(evidence: Evidence, subtracted_a: float) -> list[_Step]:
    """Return the means of the readings with the inputs 1 to n on, ascending, in shares of the mean rated stage."""
    rating = evidence.rating
    # Stages of a type that is not identified are taken to be equal, and a finding says so.
    rated_a = rating.rated_currents_a if rating.identified else (1.0,) * rating.stages
    mean_a = sum(rated_a) / len(rated_a)
    found: dict[int, list[tuple[float, float]]] = {}
    for reading in evidence.stage_readings:
        inputs = set(reading.energised)
        if inputs == set(range(1, len(inputs) + 1)) and reading.supply_voltage_v > LOWEST_USABLE_VOLTAGE_V:
            found.setdefault(len(inputs), []).append((reading.supply_voltage_v, reading.current_a - subtracted_a))
    return [
        _Step(number, sum(rated_a[:number]) / mean_a, _mean(volts), _mean(amps))
        for number, readings in sorted(found.items())
        for volts, amps in [tuple(zip(*readings, strict=True))]
    ]


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


def _upstream(evidence: Evidence, steps: list[_Step], subtracted_a: float) -> LineFit | None:
    points = [(step.amps, step.volts) for step in steps]
    if evidence.rest is not None:
        points.insert(0, (evidence.rest.current_a - subtracted_a, evidence.rest.supply_voltage_v))
    fixed_v = VOLTS_FIXED_V * evidence.rating.system_voltage_v / 12
    sigmas = [VOLTS_SHARE * volts + fixed_v for _, volts in points]
    return straight_line([amps for amps, _ in points], [volts for _, volts in points], sigmas)


def _shared(evidence: Evidence, steps: list[_Step]) -> LineFit | None:
    # Less than the amps' own noise is no current to divide by.
    flowing = [step for step in steps if step.amps > AMPS_FIXED_A]
    seen_ohm = [step.share * step.volts / step.amps for step in flowing]
    fixed_v = VOLTS_FIXED_V * evidence.rating.system_voltage_v / 12
    sigmas = [
        ohm * sqrt((VOLTS_SHARE + fixed_v / step.volts) ** 2 + (AMPS_SHARE + AMPS_FIXED_A / step.amps) ** 2)
        for ohm, step in zip(seen_ohm, flowing, strict=True)
    ]
    return straight_line([step.share for step in flowing], seen_ohm, sigmas)


def _with_gain(evidence: Evidence, fit: LineFit, steps: list[_Step]) -> float:
    """Return the intercept's standard uncertainty with what the meters' accuracy puts on every point alike."""
    middle = steps[len(steps) // 2]
    volts = _relative_u(evidence.voltmeter, middle.volts)
    amps = _relative_u(evidence.ammeter, middle.amps)
    return sqrt(fit.u_intercept**2 + fit.intercept**2 * (volts**2 + amps**2))


def _relative_u(meter: Meter, reading: float) -> float:
    return half_width_at(meter, reading) / SQRT_3 / abs(reading) if reading else 0.0
