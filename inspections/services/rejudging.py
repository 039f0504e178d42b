"""Judge stored inspections anew: each new judgement stands beside the old one, with its reason.

What rests on a verdict that changed side says so until somebody decides: no defect is closed, no due date moved by it.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from django.db import transaction
from django.db.models import Max, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.errors import Fault, Refused
from accounts.roles import Ability
from accounts.tenancy import organisation_transaction
from calc import evidence as calc
from calc.judge import judge_batch
from fleet.models import RatingRevision
from inspections.models import Defect, Inspection, Judgement
from inspections.queries import INSIDE_LIMITS, newest_ratings
from inspections.services.judging import DERIVED_COLUMNS, evidence_anew, give_verdict
from schedules.models import DueDate

CHUNK = 500


@dataclass(frozen=True, slots=True)
class Terms:
    """Under what inspections are judged anew; what is None stays as each was judged before."""

    reason: str
    decision_rule: calc.DecisionRule | None = None
    max_false_accept_probability: float | None = None
    corrections: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Report:
    """How many were judged anew, and how many went from which verdict to which."""

    judged: int
    changes: dict[tuple[str, str], int]


def rejudge(actor: Actor, inspections: QuerySet[Inspection], terms: Terms) -> Report:
    """Judge a set anew under the newest rating revision of each type and the terms given, chunk by chunk."""
    actor.require(Ability.MANAGE)
    if not terms.reason:
        raise Refused(Fault(("reason",), "required", _("A judgement is given anew with a reason.")))
    changes: Counter[tuple[str, str]] = Counter()
    judged = 0
    for ids in _chunks(inspections.filter(organisation=actor.organisation)):
        with organisation_transaction(actor.organisation):
            chunk_changes = _rejudge_chunk(actor, ids, terms)
        changes += chunk_changes
        judged += len(ids)
    return Report(judged, dict(changes))


def _chunks(inspections: QuerySet[Inspection]) -> Iterator[list[int]]:
    ids = list(inspections.order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(ids), CHUNK):
        yield ids[start : start + CHUNK]


@transaction.atomic
def _rejudge_chunk(actor: Actor, ids: Sequence[int], terms: Terms) -> Counter[tuple[str, str]]:
    rows = list(
        Inspection.objects.select_for_update(of=("self",))
        .filter(pk__in=ids)
        .select_related("installation__retarder", "rating_revision")
        .order_by("pk")
    )
    before = {row.pk: row.verdict for row in rows}
    Judgement.objects.bulk_create(_judgements(actor, rows, terms))
    Inspection.objects.bulk_update(rows, [*DERIVED_COLUMNS, "changed_at"])
    changed = [row for row in rows if row.verdict != before[row.pk]]
    _flag_what_rests_on([row for row in changed if (row.verdict in INSIDE_LIMITS) != (before[row.pk] in INSIDE_LIMITS)])
    write_audit(actor, [_deed(row, before[row.pk], terms) for row in rows])
    return Counter((before[row.pk], row.verdict) for row in changed)


def _judgements(actor: Actor, rows: Sequence[Inspection], terms: Terms) -> list[Judgement]:
    ratings = newest_ratings({row.installation.retarder.retarder_type_id for row in rows})
    numbers = dict(
        Judgement.objects.filter(inspection__in=rows)
        .values("inspection")
        .annotate(last=Max("number"))
        .values_list("inspection", "last")
    )
    earlier = {each.inspection_id: each for each in Judgement.objects.filter(inspection__in=rows).order_by("number")}
    now = timezone.now()
    for row in rows:
        row.rating_revision = ratings[row.installation.retarder.retarder_type_id]
        row.changed_at = now
    evidences = [_evidence(row, row.rating_revision, earlier[row.pk], terms) for row in rows]
    return [
        give_verdict(
            row,
            asdict(judgement),
            evidence=evidence,
            by=actor.user,
            at=now,
            number=numbers[row.pk] + 1,
            reason=terms.reason,
            corrections=_corrections(earlier[row.pk], terms),
        )
        for row, evidence, judgement in zip(rows, evidences, judge_batch(evidences), strict=True)
    ]


def _evidence(row: Inspection, revision: RatingRevision, earlier: Judgement, terms: Terms) -> calc.Evidence:
    rule: Any = terms.decision_rule or earlier.decision_rule
    probability = terms.max_false_accept_probability if terms.decision_rule else earlier.max_false_accept_probability
    return evidence_anew(
        row,
        revision,
        decision_rule=rule,
        max_false_accept_probability=probability,
        corrections=_corrections(earlier, terms),
    )


def _corrections(earlier: Judgement, terms: Terms) -> dict[str, str]:
    return {**earlier.corrections, **terms.corrections}


def _flag_what_rests_on(rows: Sequence[Inspection]) -> None:
    now = timezone.now()
    Defect.objects.filter(found_by__in=rows, closed_at__isnull=True).update(verdict_changed=True, changed_at=now)
    DueDate.objects.filter(
        installation__in=[row.installation_id for row in rows], cycle_began_by__in=[row.uuid for row in rows]
    ).update(verdict_changed=True, changed_at=now)


def _deed(row: Inspection, before: str, terms: Terms) -> Deed:
    return Deed(
        "rejudge",
        "inspection",
        row.uuid,
        before={"verdict": before},
        after={"verdict": row.verdict, "rating_revision": row.rating_revision.number, "corrections": terms.corrections},
        reason=terms.reason,
    )
