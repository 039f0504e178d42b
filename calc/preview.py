"""Before anything is measured: what each stage should draw, and whether these meters could pass it at all."""

from dataclasses import dataclass, replace

from calc.columns import columns_of
from calc.copper import resistance_growth, resistance_ratio
from calc.evidence import Evidence, StageReading
from calc.judge import judge
from calc.judgement import InputBound, StageJudgement
from calc.own_figures import mean_conductances
from calc.settling import reaching, stage_budget
from calc.stages import REASONS, TYPE_NOT_IDENTIFIED, judge_columns
from calc.temperature import coil_temperature

# Usual regulator set points, about 14 V and about 28 V (a secondary source).
RUNNING_VOLTAGE_V = {12.0: 14.0, 24.0: 28.0}


@dataclass(frozen=True, slots=True)
class StagePreview:
    """What one stage should draw and how well it could be judged; None where the rating does not say.

    `would_do` are the widest bounds of single inputs with which a pass is possible, the others as they are.
    """

    stage: int
    expected_current_a: float | None
    expected_normalised_current_a: float | None
    expanded_uncertainty_a: float | None
    lower_limit_a: float | None
    upper_limit_a: float | None
    guard_band_a: float | None
    capability: float | None
    can_pass: bool
    undetermined_reason: str | None
    would_do: tuple[InputBound, ...]


@dataclass(frozen=True, slots=True)
class Preview:
    """What can be said of a visit before it, and on what it rests."""

    stages: tuple[StagePreview, ...]
    supply_voltage_v: float
    supply_voltage_assumed: bool
    coil_temperature_c: float
    coil_temperature_bound_c: float
    coil_temperature_assumed: bool


def preview(evidence: Evidence, supply_voltage_v: float | None = None) -> Preview:
    """Return what to expect of every stage, with the readings left out of account.

    Parameters
    ----------
    evidence : Evidence
        Rating, meters, coil temperature and decision rule; its readings are not looked at.
    supply_voltage_v : float, optional
        Voltage expected at the box under load; the running voltage of the system where none is given. [V]

    Notes
    -----
    A stage can pass where a reading in the middle of its limits would; with one limit, where one half of rated inside
    it would.

    Examples
    --------
    >>> from calc.evidence import Meter, Rating
    >>> unit = Rating((35.0,), 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)
    >>> stage = preview(Evidence(unit, Meter(2.0, 5, 0.1), Meter(0.5, 2, 0.01), 20.0, 5.0, ()), 13.76).stages[0]
    >>> round(stage.expected_current_a, 1), stage.can_pass
    (40.1, True)
    """
    coil = coil_temperature(evidence)
    voltage_v = supply_voltage_v or _running_voltage_v(evidence)
    return Preview(
        stages=_stages(evidence, voltage_v) if evidence.rating.identified else _not_identified(evidence, voltage_v),
        supply_voltage_v=voltage_v,
        supply_voltage_assumed=supply_voltage_v is None,
        coil_temperature_c=coil.temperature_c,
        coil_temperature_bound_c=coil.bound_c,
        coil_temperature_assumed=coil.assumed,
    )


def _stages(evidence: Evidence, supply_voltage_v: float) -> tuple[StagePreview, ...]:
    bare = replace(evidence, rest=None, stages_not_read=(), required_stages=(), apart=None)
    middle = judge_middle(bare, supply_voltage_v)
    return tuple(_stage_preview(bare, judged, supply_voltage_v) for judged in middle)


def _not_identified(evidence: Evidence, supply_voltage_v: float) -> tuple[StagePreview, ...]:
    """Return what a unit without a rating should draw by its own history, and that no reading can pass it."""
    growth = resistance_growth(coil_temperature(evidence).temperature_c)
    expected_s = mean_conductances(evidence.own_history)
    return tuple(
        StagePreview(
            stage,
            expected_current_a=expected_s[stage] * supply_voltage_v / growth if stage in expected_s else None,
            expected_normalised_current_a=None,
            expanded_uncertainty_a=None,
            lower_limit_a=None,
            upper_limit_a=None,
            guard_band_a=None,
            capability=None,
            can_pass=False,
            undetermined_reason=REASONS[TYPE_NOT_IDENTIFIED],
            would_do=(),
        )
        for stage in range(1, evidence.rating.stages + 1)
    )


def judge_middle(evidence: Evidence, supply_voltage_v: float) -> tuple[StageJudgement, ...]:
    """Return the judgement of readings in the middle of every stage's limits."""
    below, above = evidence.rating.tolerance_lower_percent, evidence.rating.tolerance_upper_percent
    shift = 0.0 if below is None or above is None else (above - below) / 200
    # With one limit a reading half of rated inside it is far inside.
    far = 0.5 if above is None and below is not None else -0.5 if below is None and above is not None else shift
    return judge(replace(evidence, stage_readings=_readings(evidence, supply_voltage_v, 1 + far)), rank="never").stages


def _stage_preview(evidence: Evidence, middle: StageJudgement, supply_voltage_v: float) -> StagePreview:
    rating = evidence.rating
    at_reference_a = rating.rated_currents_a[middle.stage - 1]
    expected = rating.reference_voltage_v and _expected_a(evidence, at_reference_a, supply_voltage_v)
    known = middle.undetermined_reason is None
    return StagePreview(
        stage=middle.stage,
        expected_current_a=expected or None,
        expected_normalised_current_a=at_reference_a if known else None,
        expanded_uncertainty_a=_at_rated(evidence, middle.stage, supply_voltage_v) if known else None,
        lower_limit_a=middle.lower_limit_a,
        upper_limit_a=middle.upper_limit_a,
        guard_band_a=middle.guard_band_a,
        capability=middle.capability,
        can_pass=middle.verdict == "pass",
        undetermined_reason=middle.undetermined_reason,
        would_do=_would_do(evidence, middle),
    )


def _would_do(evidence: Evidence, middle: StageJudgement) -> tuple[InputBound, ...]:
    lower_a, upper_a = middle.lower_limit_a, middle.upper_limit_a
    if lower_a is None or upper_a is None:
        return ()
    u_by_source_a = {line.source: line.u_a for line in middle.budget}
    budget = stage_budget(evidence, u_by_source_a, middle.current_a, middle.supply_voltage_v)
    return reaching(budget, (upper_a - lower_a) / 2)


def _at_rated(evidence: Evidence, stage: int, supply_voltage_v: float) -> float:
    readings = _readings(evidence, supply_voltage_v, 1.0)[stage - 1 : stage]
    results = judge_columns(columns_of([replace(evidence, stage_readings=readings)]))
    return float(results.budget.expanded_uncertainty_a[0])


def _readings(evidence: Evidence, supply_voltage_v: float, level: float) -> tuple[StageReading, ...]:
    return tuple(
        StageReading(stage, (stage,), supply_voltage_v, level * _expected_a(evidence, rated_a, supply_voltage_v))
        for stage, rated_a in enumerate(evidence.rating.rated_currents_a, start=1)
    )


def _expected_a(evidence: Evidence, rated_a: float, supply_voltage_v: float) -> float:
    rating = evidence.rating
    ratio = resistance_ratio(
        coil_temperature(evidence).temperature_c, reference_temperature_c=rating.reference_temperature_c
    )
    return rated_a * supply_voltage_v / (rating.reference_voltage_v or supply_voltage_v) / ratio


def _running_voltage_v(evidence: Evidence) -> float:
    system_v = evidence.rating.system_voltage_v
    return RUNNING_VOLTAGE_V.get(system_v, system_v * 14 / 12)
