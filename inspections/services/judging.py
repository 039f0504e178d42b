"""Judge a document, and keep the verdict.  Nothing else writes a verdict, a level or a judgement."""

import dataclasses
import datetime as dt
from collections.abc import Mapping
from typing import Any

from accounts.models import User
from calc import evidence as calc
from calc.diagnosis.screen import Rank
from calc.judge import judge
from calc.method import METHOD_VERSION
from fleet.models import MAX_STAGES, RatingRevision
from inspections.corrections import corrected
from inspections.documents import parsed_document
from inspections.evidence import evidence_of, rating_of
from inspections.models import Inspection, Judgement

# Levels and uncertainties are stored as whole hundredths of a percent of rated.
HUNDREDTHS = 100
# A reading typed a thousandfold too large still has to be stored: it is evidence, and its level stays at the edge.
LARGEST_LEVEL = 2_000_000_000

# What is not stored with a judgement: it follows from the evidence, and is worked out again when it is asked for.
WORKED_OUT_AGAIN = ("budget", "settle")

Result = dict[str, Any]
DERIVED_COLUMNS = [
    "verdict",
    "decision_rule",
    "rating_revision",
    "method_version",
    *(f"{name}_{stage}" for name in ("level", "u") for stage in range(1, MAX_STAGES + 1)),
]


def judged(evidence: calc.Evidence, *, rank: Rank = "when_unfit") -> Result:
    """Return the judgement of one visit's evidence as a document of codes and numbers.

    Likely causes are ranked in full where the sound circuit does not fit, or always where that is asked for.
    """
    return dataclasses.asdict(judge(evidence, rank=rank))


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
) -> Judgement:
    """Write the verdict into a new or stored inspection's derived columns, and return its (unsaved) judgement."""
    inspection.verdict = result["verdict"]
    inspection.decision_rule = evidence.decision_rule
    inspection.method_version = METHOD_VERSION
    for stage, (level, u) in _levels(result).items():
        setattr(inspection, f"level_{stage}", level)
        setattr(inspection, f"u_{stage}", u)
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
    )


def evidence_anew(
    inspection: Inspection,
    revision: RatingRevision,
    *,
    decision_rule: calc.DecisionRule,
    max_false_accept_probability: float | None,
    corrections: Mapping[str, str],
) -> calc.Evidence:
    """Return an inspection's evidence held against a rating under a rule, its clamp corrected by what was found."""
    document = corrected(parsed_document(inspection.evidence), corrections) | {
        "engine_state": inspection.engine_state,
        "coil_temperature_method": inspection.coil_temperature_method,
    }
    return evidence_of(
        document,
        rating=rating_of(revision),
        decision_rule=decision_rule,
        max_false_accept_probability=max_false_accept_probability,
        required_stages=document.get("required_stages") or (),
    )


def _paired(result: Result, again: Result) -> list[tuple[Mapping[str, Any], Mapping[str, Any]]]:
    return list(zip(result["stages"], again["stages"], strict=True))


def _kept(result: Result) -> Result:
    stages = [{key: value for key, value in stage.items() if key not in WORKED_OUT_AGAIN} for stage in result["stages"]]
    return {**result, "stages": stages}


def _levels(result: Result) -> dict[int, tuple[int | None, int | None]]:
    levels: dict[int, tuple[int | None, int | None]] = dict.fromkeys(range(1, MAX_STAGES + 1), (None, None))
    for stage in result["stages"]:
        levels[stage["stage"]] = _hundredths(stage["level_percent"]), _hundredths(stage["expanded_uncertainty_percent"])
    return levels


def _hundredths(percent: float | None) -> int | None:
    return None if percent is None else round(min(percent * HUNDREDTHS, LARGEST_LEVEL))
