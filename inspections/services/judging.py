"""Judge a document, and keep the verdict.  Nothing else writes a verdict, a level or a judgement."""

import copy
import dataclasses
import datetime as dt
from collections.abc import Hashable, Mapping, Sequence
from functools import cache
from typing import Any, cast

from accounts.models import User
from calc import evidence as calc
from calc.diagnosis.screen import Rank
from calc.judge import judge, judge_batch
from calc.method import METHOD_VERSION
from fleet.models import RatingRevision
from inspections.corrections import corrected
from inspections.derived import DERIVED_FIGURES, derived_figures
from inspections.documents import parsed_document
from inspections.evidence import evidence_of, rating_of
from inspections.models import Inspection, Judgement

# What is not stored with a judgement: it follows from the evidence, and is worked out again when it is asked for.
WORKED_OUT_AGAIN = ("budget", "settle")

Result = dict[str, Any]
UNCHANGING = frozenset({str, int, float, bool, type(None)})
# Below and above the rated amps, in percent.
Tolerance = tuple[float | None, float | None]
RATINGS_OWN: Tolerance = (None, None)
DERIVED_COLUMNS = [
    "verdict",
    "decision_rule",
    "rating_revision",
    "method_version",
    *DERIVED_FIGURES,
]


def judged(
    evidence: calc.Evidence, *, rank: Rank = "when_unfit", confirmed_counts: Mapping[str, int] | None = None
) -> Result:
    """Return the judgement of one visit's evidence as a document of codes and numbers.

    Likely causes are ranked in full where the sound circuit does not fit, or always where that is asked for; the
    organisation's confirmed causes weigh in.
    """
    result: Result = as_document(judge(evidence, rank=rank, confirmed_counts=confirmed_counts))
    return result


def judged_batch(
    evidences: Sequence[calc.Evidence], *, confirmed_counts: Mapping[str, int] | None = None
) -> list[Result]:
    """Return the judgement of each visit, in their order, judged together."""
    if not evidences:
        return []
    judgements = judge_batch(evidences, rank="when_unfit", confirmed_counts=confirmed_counts)
    return [as_document(judgement) for judgement in judgements]


def as_document(value: Any) -> Any:
    """Return what `dataclasses.asdict` does, without its deep copy of every number and word: they do not change."""
    kind = type(value)
    if kind in UNCHANGING:
        return value
    if kind is tuple or kind is list:
        return kind([as_document(item) for item in value])
    if kind is dict:
        return {key: as_document(item) for key, item in value.items()}
    if dataclasses.is_dataclass(value):
        return {name: as_document(getattr(value, name)) for name in _field_names(value.__class__)}
    return copy.deepcopy(value)


@cache
def _field_names(kind: Hashable) -> tuple[str, ...]:
    return tuple(field.name for field in dataclasses.fields(cast("type[Any]", kind)))


def give_verdict(
    inspection: Inspection,
    result: Result,
    *,
    evidence: calc.Evidence,
    by: User | None,
    at: dt.datetime,
    number: int = 1,
    reason: str = "",
    corrections: Mapping[str, str] | None = None,
    tolerance_percent: Tolerance = RATINGS_OWN,
) -> Judgement:
    """Write the verdict into a new or stored inspection's derived columns, and return its (unsaved) judgement."""
    inspection.verdict = result["verdict"]
    inspection.decision_rule = evidence.decision_rule
    inspection.method_version = METHOD_VERSION
    for column, figure in derived_figures(evidence, result).items():
        setattr(inspection, column, figure)
    return Judgement(
        organisation_id=inspection.organisation_id,
        inspection=inspection,
        number=number,
        verdict=result["verdict"],
        decision_rule=evidence.decision_rule,
        max_false_accept_probability=evidence.max_false_accept_probability,
        rating_revision=inspection.rating_revision,
        method_version=METHOD_VERSION,
        corrections=dict(corrections or {}),
        tolerance_lower_percent=tolerance_percent[0],
        tolerance_upper_percent=tolerance_percent[1],
        result=_kept(result),
        reason=reason,
        judged_at=at,
        judged_by=by,
    )


def full_result(inspection: Inspection, judgement: Judgement) -> Result:
    """Return a stored judgement with its budgets, which are worked out again from the evidence.

    Under another method version the budgets would not be those of the verdict, and are left out.
    """
    result: Result = dict(judgement.result)
    if judgement.method_version != METHOD_VERSION:
        return result
    again = judged(stored_evidence(inspection, judgement), rank="never")
    stages = [{**kept, **{key: fresh[key] for key in WORKED_OUT_AGAIN}} for kept, fresh in _paired(result, again)]
    return {**result, "stages": stages}


def stored_evidence(inspection: Inspection, judgement: Judgement) -> calc.Evidence:
    """Return what a stored judgement was given on."""
    rule: Any = judgement.decision_rule
    return evidence_anew(
        inspection,
        judgement.rating_revision,
        decision_rule=rule,
        max_false_accept_probability=judgement.max_false_accept_probability,
        corrections=judgement.corrections,
        tolerance_percent=(judgement.tolerance_lower_percent, judgement.tolerance_upper_percent),
    )


def evidence_anew(
    inspection: Inspection,
    revision: RatingRevision,
    *,
    decision_rule: calc.DecisionRule,
    max_false_accept_probability: float | None,
    corrections: Mapping[str, str],
    tolerance_percent: Tolerance = RATINGS_OWN,
) -> calc.Evidence:
    """Return an inspection's evidence held against a rating under a rule, its clamp corrected by what was found.

    A tolerance takes the place of the rating's, below and above; one that is None on both sides leaves that as it is.
    """
    document = corrected(parsed_document(inspection.evidence), corrections) | {
        "engine_state": inspection.engine_state,
        "coil_temperature_method": inspection.coil_temperature_method,
    }
    evidence = evidence_of(
        document,
        rating=_tolerating(rating_of(revision), tolerance_percent),
        decision_rule=decision_rule,
        max_false_accept_probability=max_false_accept_probability,
        required_stages=document.get("required_stages") or (),
    )
    # What was kept of the unit's earlier checks is not corrected: perhaps the same meter read them as wrongly.
    return dataclasses.replace(evidence, own_history=(), own_history_left_out=True) if corrections else evidence


def _tolerating(rating: calc.Rating, tolerance_percent: Tolerance) -> calc.Rating:
    lower, upper = tolerance_percent
    if lower is None and upper is None:
        return rating
    return dataclasses.replace(
        rating, tolerance_lower_percent=lower, tolerance_upper_percent=upper, tolerance_assumed=False
    )


def _paired(result: Result, again: Result) -> list[tuple[Mapping[str, Any], Mapping[str, Any]]]:
    return list(zip(result["stages"], again["stages"], strict=True))


def _kept(result: Result) -> Result:
    stages = [{key: value for key, value in stage.items() if key not in WORKED_OUT_AGAIN} for stage in result["stages"]]
    return {**result, "stages": stages}
