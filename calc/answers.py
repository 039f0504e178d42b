"""Stage rows turned into stage judgements."""

from math import isfinite
from typing import NamedTuple

import numpy as np

from calc.budget import SOURCES
from calc.conformity import VERDICTS
from calc.judgement import BudgetLine, StageJudgement, Verdict
from calc.stages import DETERMINED, REASONS, StageResults

_VERDICT: dict[str, Verdict] = {
    "pass": "pass",
    "conditional_pass": "conditional_pass",
    "undetermined": "undetermined",
    "conditional_fail": "conditional_fail",
    "fail": "fail",
}


class _Figures(NamedTuple):
    normalised_current_a: float | None
    expanded_uncertainty_a: float | None
    coverage_factor: float | None
    lower_limit_a: float | None
    upper_limit_a: float | None
    conformance_probability: float | None
    capability: float | None
    level_percent: float | None
    expanded_uncertainty_percent: float | None


_NO_FIGURES = _Figures(*(None,) * 9)


def finite_or_none(value: float) -> float | None:
    """Return the value, or None where there is no finite one to answer.

    Examples
    --------
    >>> finite_or_none(2.0), finite_or_none(float("inf"))
    (2.0, None)
    """
    return value if isfinite(value) else None


def stage_judgements(results: StageResults) -> list[StageJudgement]:
    """Return one judgement per stage row, in the rows' order."""
    raw = zip(
        (results.rows.stage + 1).tolist(),
        results.verdict.tolist(),
        results.reason.tolist(),
        results.rows.own.supply_voltage_v.tolist(),
        results.rows.own.current_a.tolist(),
        strict=True,
    )
    rows = zip(raw, _figures(results), _budget_rows(results), strict=True)
    return [_stage_judgement(row, figures, budget) for row, figures, budget in rows]


def _stage_judgement(
    row: tuple[int, int, int, float, float], figures: list[float], budget: list[list[float]]
) -> StageJudgement:
    stage, verdict, reason, supply_voltage_v, current_a = row
    answered = reason == DETERMINED
    return StageJudgement(
        stage,
        _VERDICT[VERDICTS[verdict]],
        None if answered else REASONS[reason],
        supply_voltage_v,
        current_a,
        *(_Figures(*map(finite_or_none, figures)) if answered else _NO_FIGURES),
        budget=_budget_lines(*budget) if answered else (),
    )


def _figures(results: StageResults) -> list[list[float]]:
    expanded_a = results.budget.expanded_uncertainty_a
    with np.errstate(invalid="ignore", over="ignore"):
        columns = (
            results.normalised_current_a,
            expanded_a,
            results.budget.coverage_factor,
            results.lower_limit_a,
            results.upper_limit_a,
            results.conformance_probability,
            results.capability,
            100 * results.level,
            100 * expanded_a / results.rated_a,
        )
    figures: list[list[float]] = np.stack(columns, axis=1).tolist()
    return figures


def _budget_rows(results: StageResults) -> list[list[list[float]]]:
    u_a = results.budget.u_by_source_a
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (u_a / results.budget.u_combined_a) ** 2
    rows: list[list[list[float]]] = np.stack([share, u_a]).transpose(2, 0, 1).tolist()
    return rows


def _budget_lines(shares: list[float], u_a: list[float]) -> tuple[BudgetLine, ...]:
    lines = zip(SOURCES, shares, u_a, strict=True)
    present = [BudgetLine(source, share, u) for source, share, u in lines if u > 0]
    return tuple(sorted(present, key=lambda line: -line.variance_share))
