"""What the page of a stored check says: its judgements, strips, sentences, and what it replaces."""

from collections.abc import Mapping
from typing import Any

from dashboard.checks.apart_results import found_apart
from dashboard.checks.headline import headline_of
from dashboard.checks.limits import BY_ITSELF, NO_LIMITS, is_without_limits, told_once, why_no_limits
from fleet.models import RatingRevision
from inspections.actions import ACTIONS, parts_of
from inspections.history import last_reading, recent_checks
from inspections.models import Inspection, Judgement
from inspections.replacements import changes_between, first_of_chain, replaced_check
from inspections.sentences import sentence
from inspections.services.judging import full_result

WORST_LAST = ["pass", "conditional_pass", "undetermined", "conditional_fail", "fail"]


def result_context(check: Inspection) -> dict[str, Any]:
    """Return everything the page shows beside its forms."""
    judgements = judgements_of(check)
    newest = judgements[-1]
    result = full_result(check, newest)
    earlier = recent_checks(check.installation, before=check.performed_at)
    stages = len(newest.rating_revision.rated_currents_a)
    return {
        "check": check,
        "unit_name": check.installation.vehicle.fleet_number,
        "judgement": newest,
        "earlier_judgements": judgements[:-1],
        "result": result,
        "action": ACTIONS[result["action"]],
        "stages_verdict": worst_verdict(result["stages"]),
        "reasons": told_once(sentences(result["verdict_reasons"]), stages),
        "findings": sentences([each for each in result["findings"] if each["code"] not in NO_LIMITS | BY_ITSELF]),
        "by_itself": sentences([each for each in result["findings"] if each["code"] in BY_ITSELF]),
        "no_limits": why_no_limits(result["stages"]),
        "strips": [_strip(stage, earlier) for stage in result["stages"]],
        "rating": newest.rating_revision,
        "sources": sources_of(newest.rating_revision),
        "parts": parts_of(result),
        "apart": found_apart(check),
        "headline": headline_of(check, result, stages),
        "replacement": replacement_of(check),
        "waiting": replacement_waiting(check),
        "not_read": check.evidence.get("stages_not_read") or [],
    }


def worst_verdict(stages: list[Mapping[str, Any]]) -> str | None:
    """Return the worst of the stages' verdicts, None where no stage was read."""
    return max((stage["verdict"] for stage in stages), key=WORST_LAST.index, default=None)


def sources_of(rating: RatingRevision) -> list[str]:
    """Return where the rating's figures come from, each source once."""
    return list(dict.fromkeys(str(source) for source in rating.sources.values()))


def replacement_of(check: Inspection) -> dict[str, Any] | None:
    """Return what a check says about the one it replaces, None where it replaces none."""
    old = replaced_check(check)
    if old is None:
        return None
    return {
        "old": old,
        "first": first_of_chain(old),
        "stands": old.superseded_by_id == check.pk,
        "reason": check.evidence.get("supersede_reason"),
        "changes": changes_between(old, check),
    }


def replacement_waiting(check: Inspection) -> Inspection | None:
    """Return the newest unsigned check that is to replace this one."""
    rows = Inspection.objects.of(check.organisation_id).filter(
        installation=check.installation_id, signed_at__isnull=True, evidence__supersedes=str(check.uuid)
    )
    return rows.order_by("-pk").first()


def judgements_of(check: Inspection) -> list[Judgement]:
    """Return the check's judgements, the first one first."""
    return list(
        Judgement.objects.of(check.organisation_id)
        .filter(inspection=check)
        .select_related("rating_revision__retarder_type", "judged_by")
        .order_by("number")
    )


def sentences(coded: list[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return a judgement's codes with their sentences."""
    return [{**each, "text": sentence(each["code"], each["params"])} for each in coded]


def _strip(stage: Mapping[str, Any], earlier: list[Inspection]) -> dict[str, Any]:
    last = last_reading(earlier, [stage["stage"]])
    level = last.level_percent(stage["stage"]) if last else None
    return {"stage": stage, "last": last, "last_level": level, "without_limits": is_without_limits(stage)}
