"""Judge stored inspections anew: each new judgement stands beside the old one, with its reason.

What rests on a verdict that changed side says so until somebody decides: no defect is closed, no due date moved by it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Literal

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.errors import Fault
from accounts.models import User
from accounts.row_updates import update_each
from calc import evidence as calc
from calc.batch import judged_together
from calc.judge import judge_batch
from fleet.models import RatingRevision
from inspections.models import Defect, Inspection, Judgement
from inspections.queries import INSIDE_LIMITS, newest_ratings
from inspections.services.judging import (
    DERIVED_COLUMNS,
    RATINGS_OWN,
    Tolerance,
    as_document,
    evidence_anew,
    give_verdict,
)
from inspections.services.trend_news import note_news
from schedules.models import DueDate

CHUNK = 500
MOST_PERCENT = 100


@dataclass(frozen=True, slots=True)
class Terms:
    """Under what inspections are judged anew; what is None stays as each was judged before.

    `rating` is the newest revision of each type, or the one that each check was judged by.
    """

    reason: str
    decision_rule: calc.DecisionRule | None = None
    max_false_accept_probability: float | None = None
    corrections: Mapping[str, str] = field(default_factory=dict)
    tolerance_lower_percent: float | None = None
    tolerance_upper_percent: float | None = None
    rating: Literal["newest", "as_judged"] = "newest"

    @property
    def only_correct(self) -> bool:
        """Tell whether found errors are taken out and nothing else is asked, so that what was judged so is done."""
        others = (self.decision_rule, self.tolerance_lower_percent, self.tolerance_upper_percent)
        return bool(self.corrections) and all(other is None for other in others)


def needs_a_reason() -> Fault:
    """Return what is wrong with terms that give no reason."""
    return Fault(("reason",), "required", _("A judgement is given anew with a reason."))


def faults_of_terms(terms: Terms, meter_kind: str | None) -> list[Fault]:
    """Return everything that is wrong with the terms; `meter_kind` is of the meter that the choice names."""
    faults = [] if terms.reason else [needs_a_reason()]
    asked, probability = terms.decision_rule == "max_false_accept", terms.max_false_accept_probability
    if asked != (probability is not None) or not 0 < (0.5 if probability is None else probability) <= 0.5:
        detail = _("Needed with the rule max_false_accept and only with it; allowed is above 0 to 0.5, not %(value)s.")
        values = {"value": _("none") if probability is None else probability}
        faults.append(Fault(("terms", "max_false_accept_probability"), "invalid", detail % values))
    for side in ("tolerance_lower_percent", "tolerance_upper_percent"):
        if not 0 < (getattr(terms, side) or 1.0) <= MOST_PERCENT or getattr(terms, side) == 0:
            detail = _("%(value)s is out of range; allowed is above 0 to %(most)s.")
            values = {"value": getattr(terms, side), "most": MOST_PERCENT}
            faults.append(Fault(("terms", side), "range", detail % values))
    for key, value in terms.corrections.items():
        if not key.startswith(meter_kind or "no meter"):
            detail = _("A correction is of one meter: choose the meter it was found in.")
            faults.append(Fault(("terms", "corrections", key), "no_meter", detail))
        elif key.endswith("gain_percent"):
            faults += faults_of_gain(("terms", "corrections", key), value)
    return faults


def faults_of_gain(path: tuple[str, ...], gain_percent: str) -> list[Fault]:
    """Return what is wrong with the gain error of a meter: one of -100 % would leave nothing of a reading."""
    if abs(Decimal(gain_percent)) < MOST_PERCENT:
        return []
    detail = _("%(value)s is out of range; allowed is -%(most)s to %(most)s, both excluded.")
    return [Fault(path, "range", detail % {"value": gain_percent, "most": MOST_PERCENT})]


def chunk_compared(ids: Sequence[int], terms: Terms) -> dict[int, tuple[str, str]]:
    """Return, by key, the checks whose verdict would change, with both verdicts; nothing is stored."""
    rows = _rows(Inspection.objects.all(), ids)
    anew = _anew(rows, terms)
    verdicts = judged_together([each.evidence for each in anew]).verdicts
    pairs = zip(rows, verdicts, strict=True)
    return {row.pk: (row.verdict, verdict) for row, verdict in pairs if row.verdict != verdict}


@transaction.atomic
def chunk_judged_anew(actor: Actor, ids: Sequence[int], terms: Terms, *, by: User | None) -> dict[int, tuple[str, str]]:
    """Store new judgements beside the old, and return the checks whose verdict changed, with both verdicts."""
    rows = _rows(Inspection.objects.select_for_update(no_key=True, of=("self",)), ids)
    before = {row.pk: row.verdict for row in rows}
    judgements = _judgements(rows, terms, by)
    Judgement.objects.bulk_create(judgements)
    update_each(rows, [*DERIVED_COLUMNS, "changed_at"])
    note_news(actor.organisation.pk, [row.installation.retarder_id for row in rows])
    changed = [row for row in rows if row.verdict != before[row.pk]]
    other_side = [row for row in changed if (row.verdict in INSIDE_LIMITS) != (before[row.pk] in INSIDE_LIMITS)]
    deeds = [Deed("judge", judgement) for judgement in judgements]
    deeds += [_deed(row, before[row.pk], terms) for row in rows]
    write_audit(actor, deeds + _flag_what_rests_on(other_side))
    return {row.pk: (before[row.pk], row.verdict) for row in changed}


@dataclass(frozen=True, slots=True)
class _Anew:
    """On what one check is judged anew."""

    evidence: calc.Evidence
    revision: RatingRevision
    number: int
    corrections: dict[str, str]
    tolerance_percent: Tolerance


def _rows(inspections: QuerySet[Inspection], ids: Sequence[int]) -> list[Inspection]:
    related = inspections.filter(pk__in=ids).select_related("installation__retarder", "rating_revision")
    return list(related.order_by("pk"))


def _anew(rows: Sequence[Inspection], terms: Terms) -> list[_Anew]:
    ratings = newest_ratings({row.installation.retarder.retarder_type_id for row in rows})
    kept = Judgement.objects.filter(inspection__in=rows).select_related("rating_revision").defer("result")
    earlier = {each.inspection_id: each for each in kept.order_by("number")}
    return [_one_anew(row, ratings[row.installation.retarder.retarder_type_id], earlier[row.pk], terms) for row in rows]


def _one_anew(row: Inspection, newest: RatingRevision, earlier: Judgement, terms: Terms) -> _Anew:
    revision = newest if terms.rating == "newest" else earlier.rating_revision
    corrections = {**earlier.corrections, **terms.corrections}
    tolerance = _tolerance(revision, earlier, terms)
    rule: Any = terms.decision_rule or earlier.decision_rule
    probability = terms.max_false_accept_probability if terms.decision_rule else earlier.max_false_accept_probability
    evidence = evidence_anew(
        row,
        revision,
        decision_rule=rule,
        max_false_accept_probability=probability,
        corrections=corrections,
        tolerance_percent=tolerance,
    )
    return _Anew(evidence, revision, earlier.number + 1, corrections, tolerance)


def _tolerance(revision: RatingRevision, earlier: Judgement, terms: Terms) -> Tolerance:
    """Return the tolerance that takes the rating's place; one asked for earlier held for the rating of that time."""
    asked = (terms.tolerance_lower_percent, terms.tolerance_upper_percent)
    if asked != RATINGS_OWN:
        return asked
    if revision.pk != earlier.rating_revision_id:
        return RATINGS_OWN
    return earlier.tolerance_lower_percent, earlier.tolerance_upper_percent


def _judgements(rows: Sequence[Inspection], terms: Terms, by: User | None) -> list[Judgement]:
    now, anew = timezone.now(), _anew(rows, terms)
    for row, each in zip(rows, anew, strict=True):
        row.rating_revision = each.revision
        row.changed_at = now
    results = judge_batch([each.evidence for each in anew])
    return [
        give_verdict(
            row,
            as_document(result),
            evidence=each.evidence,
            by=by,
            at=now,
            number=each.number,
            reason=terms.reason,
            corrections=each.corrections,
            tolerance_percent=each.tolerance_percent,
        )
        for row, each, result in zip(rows, anew, results, strict=True)
    ]


def _flag_what_rests_on(rows: Sequence[Inspection]) -> list[Deed]:
    now = timezone.now()
    defects = list(
        Defect.objects.select_for_update(no_key=True).filter(
            found_by__in=rows, closed_at__isnull=True, verdict_changed=False
        )
    )
    for defect in defects:
        defect.verdict_changed, defect.changed_at = True, now
    update_each(defects, ["verdict_changed", "changed_at"])
    DueDate.objects.filter(
        installation__in=[row.installation_id for row in rows], cycle_began_by__in=[row.uuid for row in rows]
    ).update(verdict_changed=True, changed_at=now)
    before, after = {"verdict_changed": False}, {"verdict_changed": True}
    return [Deed("flag", defect, before=before, after=after) for defect in defects]


def _deed(row: Inspection, before: str, terms: Terms) -> Deed:
    return Deed(
        "rejudge",
        row,
        before={"verdict": before},
        after={"verdict": row.verdict, "rating_revision": row.rating_revision.number, "corrections": terms.corrections},
        reason=terms.reason,
    )
