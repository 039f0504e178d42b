"""Stage rows turned into stage judgements."""

from collections.abc import Sequence
from math import isfinite
from operator import attrgetter
from typing import NamedTuple

import numpy as np

from calc.actions import stage_action
from calc.budget import SOURCES
from calc.conformity import VERDICTS
from calc.errors import RELATIVE_SLACK
from calc.evidence import Evidence
from calc.judgement import BudgetLine, Settlement, StageJudgement, Verdict
from calc.settling import Scatter, settlement, stage_budget
from calc.stages import DETERMINED, REASONS, StageResults

_VERDICT: dict[str, Verdict] = {
    "pass": "pass",
    "conditional_pass": "conditional_pass",
    "undetermined": "undetermined",
    "conditional_fail": "conditional_fail",
    "fail": "fail",
}


class _Raw(NamedTuple):
    inspection: int
    stage: int
    verdict: int
    reason: int
    supply_voltage_v: float
    current_a: float
    rated_a: float
    readings: tuple[float, float]


class _Figures(NamedTuple):
    normalised_current_a: float
    expanded_uncertainty_a: float
    coverage_factor: float
    lower_limit_a: float
    upper_limit_a: float
    conformance_probability: float
    capability: float
    level_percent: float
    expanded_uncertainty_percent: float
    guard_band_a: float
    u_scatter_own_a: float
    u_scatter_before_a: float

    @property
    def margin_a(self) -> float:
        return min(self.normalised_current_a - self.lower_limit_a, self.upper_limit_a - self.normalised_current_a)


class _Answered(NamedTuple):
    normalised_current_a: float | None = None
    expanded_uncertainty_a: float | None = None
    coverage_factor: float | None = None
    lower_limit_a: float | None = None
    upper_limit_a: float | None = None
    conformance_probability: float | None = None
    capability: float | None = None
    level_percent: float | None = None
    expanded_uncertainty_percent: float | None = None


_NO_FIGURES = _Answered()


def finite_or_none(value: float) -> float | None:
    """Return the value, or None where there is no finite one to answer.

    Examples
    --------
    >>> finite_or_none(2.0), finite_or_none(float("inf"))
    (2.0, None)
    """
    return value if isfinite(value) else None


def stage_judgements(results: StageResults, evidences: Sequence[Evidence], asked: slice) -> list[StageJudgement]:
    """Return one judgement per stage row asked for, in the rows' order."""
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        figures, budgets = _figures(results, asked), _budget_rows(results, asked)
    rows = zip(_raw_rows(results, asked), figures, budgets, strict=True)
    return [_stage_judgement(raw, _Figures(*figures), budget, evidences) for raw, figures, budget in rows]


def _raw_rows(results: StageResults, asked: slice) -> list[_Raw]:
    rows = results.rows
    columns = (
        rows.inspection[asked].tolist(),
        (rows.stage[asked] + 1).tolist(),
        results.verdict[asked].tolist(),
        results.reason[asked].tolist(),
        rows.own.supply_voltage_v[asked].tolist(),
        rows.own.current_a[asked].tolist(),
        results.rated_a[asked].tolist(),
        zip(rows.own.count[asked].tolist(), rows.before.count[asked].tolist(), strict=True),
    )
    return [_Raw(*row) for row in zip(*columns, strict=True)]


def _stage_judgement(
    raw: _Raw, figures: _Figures, budget: list[list[float]], evidences: Sequence[Evidence]
) -> StageJudgement:
    answered = raw.reason == DETERMINED
    verdict, reason = _VERDICT[VERDICTS[raw.verdict]], None if answered else REASONS[raw.reason]
    lines = _budget_lines(*budget) if answered else ()
    conditional = verdict in ("conditional_pass", "conditional_fail")
    u_by_source_a = {line.source: line.u_a for line in lines} if conditional else {}
    settle = _settle(raw, figures, u_by_source_a, evidences[raw.inspection]) if conditional else None
    return StageJudgement(
        raw.stage,
        verdict,
        reason,
        raw.supply_voltage_v,
        raw.current_a,
        *(_Answered(*map(finite_or_none, figures[: len(_NO_FIGURES)])) if answered else _NO_FIGURES),
        budget=lines,
        guard_band_a=finite_or_none(figures.guard_band_a) if answered else None,
        simple_verdict=_simple_verdict(raw, figures) if answered else "undetermined",
        action=stage_action(verdict, reason, settle, u_by_source_a),
        settle=_missing(reason) if reason is not None else settle,
    )


def _simple_verdict(raw: _Raw, figures: _Figures) -> Verdict:
    return "pass" if figures.margin_a + RELATIVE_SLACK * raw.rated_a >= 0 else "fail"


def _settle(raw: _Raw, figures: _Figures, u_by_source_a: dict[str, float], evidence: Evidence) -> Settlement:
    scatter = zip((figures.u_scatter_own_a, figures.u_scatter_before_a), raw.readings, strict=True)
    repeats = tuple(Scatter(u_a, count) for u_a, count in scatter if u_a > 0)
    return settlement(
        stage_budget(evidence, u_by_source_a, raw.current_a, raw.supply_voltage_v, repeats),
        margin_a=figures.margin_a,
        tolerance_width_a=figures.upper_limit_a - figures.lower_limit_a,
        capable=not figures.capability < 1,
    )


def _missing(reason: str) -> Settlement:
    """Return that no uncertainty would settle it: what is missing is named by the reason."""
    return Settlement(None, None, (), (), (), reason, None)


def _figures(results: StageResults, asked: slice) -> list[list[float]]:
    rated_a, expanded_a = results.rated_a[asked], results.budget.expanded_uncertainty_a[asked]
    columns = np.array(
        [
            results.normalised_current_a[asked],
            expanded_a,
            results.budget.coverage_factor[asked],
            results.lower_limit_a[asked],
            results.upper_limit_a[asked],
            results.conformance_probability[asked],
            results.capability[asked],
            100 * results.level[asked],
            100 * expanded_a / rated_a,
            results.guard_band_a[asked],
            *results.budget.u_scatter_a[:, asked],
        ]
    )
    figures: list[list[float]] = columns.T.tolist()
    return figures


def _budget_rows(results: StageResults, asked: slice) -> list[list[list[float]]]:
    u_a = results.budget.u_by_source_a[:, asked]
    share = (u_a / results.budget.u_combined_a[asked]) ** 2
    rows: list[list[list[float]]] = np.array([share, u_a]).transpose(2, 0, 1).tolist()
    return rows


def _budget_lines(shares: list[float], u_a: list[float]) -> tuple[BudgetLine, ...]:
    lines = zip(SOURCES, shares, u_a, strict=True)
    present = [BudgetLine(source, share, u) for source, share, u in lines if u > 0]
    return tuple(sorted(present, key=attrgetter("variance_share"), reverse=True))
