"""What a unit conducted at its earlier checks: what one without a rating is held against.

A check keeps it in its evidence, so that its verdict can be worked out again whatever is found or corrected later.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import Count, F, OuterRef, QuerySet, Subquery, Window
from django.db.models.functions import Coalesce, RowNumber

from calc import evidence as calc
from calc.own_figures import changes, draws, is_unlike, mean_conductances, own_conductances
from inspections.corrections import corrected
from inspections.documents import Document, parsed_document
from inspections.evidence import evidence_of
from inspections.models import Defect, DefectStep, Inspection, Judgement

# What a unit is held against are its oldest checks: a mean that moved along would take a loss for what is usual.
BASELINE_CHECKS = 3
# So many are looked at for them since each repair: not every one reads every stage.
MOST_CHECKS = 12

# A check, and what of it still counts.
Baseline = list[tuple[UUID, list[calc.OwnConductance]]]


@dataclass(frozen=True, slots=True)
class PastCheck:
    """What one check of a unit, signed or not, found its stages to conduct."""

    inspection: UUID
    performed_at: dt.datetime
    stages: tuple[calc.OwnConductance, ...]


@dataclass(frozen=True, slots=True)
class Renewal:
    """A retest that closed a defect of a stage: what the stage conducted before tells nothing of it now."""

    stage: int
    performed_at: dt.datetime


@dataclass(slots=True)
class OwnHistories:
    """The oldest checks of units without a rating, since each of their repairs, by the units' keys."""

    by_unit: defaultdict[int, list[PastCheck]] = field(default_factory=lambda: defaultdict(list))
    renewals: defaultdict[int, list[Renewal]] = field(default_factory=lambda: defaultdict(list))

    @classmethod
    def of(cls, retarders: Mapping[int, calc.Rating]) -> "OwnHistories":
        """Look up the checks of some units that nothing has replaced, in two queries or, for no units, in none."""
        found = cls()
        if not retarders:
            return found
        for retarder, stage, performed_at in _renewals().filter(inspection__installation__retarder__in=retarders):
            if stage is not None:
                found.renewals[retarder].append(Renewal(stage, performed_at))
        rows = _oldest_checks(retarders)
        evidences = [_evidence(row, retarders[row.installation.retarder_id]) for row in rows]
        for row, stages in zip(rows, own_conductances(evidences) if rows else [], strict=True):
            found.by_unit[row.installation.retarder_id].append(PastCheck(row.uuid, row.performed_at, stages))
        return found

    def add(self, retarder: int, document: Document, rating: calc.Rating) -> None:
        """Take in a check that is being stored: to a later one of the same unit it is an earlier one."""
        (stages,) = own_conductances([_read(document, rating)])
        self.by_unit[retarder].append(PastCheck(document["id"], document["performed_at"], stages))

    def baseline(self, retarder: int, instant: dt.datetime | None = None, *, replaced: UUID | None = None) -> Baseline:
        """Return what a unit is held against at an instant, oldest first, without the check that is being replaced.

        Of each stage they are its first checks since the last retest that closed a defect of it: those at which it drew
        current, and no other than before.
        """
        earlier = [one for one in self.by_unit[retarder] if instant is None or one.performed_at < instant]
        standing = sorted((one for one in earlier if one.inspection != replaced), key=lambda one: one.performed_at)
        begins = _begins(one for one in self.renewals[retarder] if instant is None or one.performed_at < instant)
        taken: defaultdict[int, list[calc.OwnConductance]] = defaultdict(list)
        kept: Baseline = []
        for check in standing:
            since = [one for one in check.stages if check.performed_at >= begins.get(one.stage, check.performed_at)]
            counting = [one for one in since if _counts(one, taken[one.stage])]
            for one in counting:
                taken[one.stage].append(one)
            kept.append((check.inspection, counting))
        return [(inspection, stages) for inspection, stages in kept if stages]


def _counts(one: calc.OwnConductance, before: Sequence[calc.OwnConductance]) -> bool:
    return len(before) < BASELINE_CHECKS and draws(one) and not any(map(is_unlike, changes([one], before)))


def _begins(renewals: Iterable[Renewal]) -> dict[int, dt.datetime]:
    begins: dict[int, dt.datetime] = {}
    for one in renewals:
        begins[one.stage] = max(one.performed_at, begins.get(one.stage, one.performed_at))
    return begins


def conductances_of(baseline: Baseline) -> list[calc.OwnConductance]:
    """Return what the stages conducted, whichever check it was at."""
    return [one for _check, stages in baseline for one in stages]


def own_mean_conductances(retarder: int, rating: calc.Rating) -> dict[int, float]:
    """Return what each stage of a unit conducted on average at its first checks, at 20 °C. [S]

    A stage with an open defect is left out: after a repair it is not to draw what it drew with the fault.
    """
    means = mean_conductances(conductances_of(OwnHistories.of({retarder: rating}).baseline(retarder)))
    faulty = Defect.objects.filter(installation__retarder=retarder, closed_at__isnull=True)
    for stage in faulty.values_list("stage", flat=True):
        means.pop(stage or 0, None)
    return means


def own_history_document(baseline: Baseline) -> list[dict[str, Any]] | None:
    """Return the history as it is kept with the readings, None where there is none."""
    return [
        {
            "inspection": uuid,
            "stages": [
                {
                    "stage": one.stage,
                    "conductance_s": Decimal(repr(one.conductance_s)),
                    "u_conductance_s": Decimal(repr(one.u_conductance_s)),
                    "u_alone_s": Decimal(repr(one.u_alone_s)),
                }
                for one in stages
            ],
        }
        for uuid, stages in baseline
    ] or None


def _renewals() -> QuerySet[DefectStep, tuple[int, int | None, dt.datetime]]:
    closing = DefectStep.objects.filter(
        kind="retest_passed",
        defect__state="closed",
        defect__closed_at=F("inspection__signed_at"),
    )
    return closing.values_list("inspection__installation__retarder", "defect__stage", "inspection__performed_at")


def _oldest_checks(retarders: Mapping[int, calc.Rating]) -> list[Inspection]:
    before = _renewals().filter(
        inspection__installation__retarder=OuterRef("installation__retarder"),
        inspection__performed_at__lte=OuterRef("performed_at"),
    )
    counted = before.order_by().values("inspection__installation__retarder").annotate(n=Count("pk")).values("n")
    oldest_first = Window(
        RowNumber(),
        partition_by=[F("installation__retarder"), F("repairs")],
        order_by=[F("performed_at").asc(), F("pk").asc()],
    )
    standing = Inspection.objects.filter(installation__retarder__in=retarders, superseded_by__isnull=True)
    newest = Judgement.objects.filter(inspection=OuterRef("pk")).order_by("-number").values("corrections")[:1]
    rows = standing.annotate(repairs=Coalesce(Subquery(counted), 0), corrections=Subquery(newest))
    placed = rows.annotate(place=oldest_first).filter(place__lte=MOST_CHECKS)
    return list(placed.select_related("installation"))


def _evidence(row: Inspection, rating: calc.Rating) -> calc.Evidence:
    document = parsed_document(row.evidence) | {"coil_temperature_method": row.coil_temperature_method}
    corrections: Mapping[str, str] = row.corrections  # type: ignore[attr-defined]
    return _read(corrected(document, corrections), rating)


def _read(document: Document, rating: calc.Rating) -> calc.Evidence:
    return evidence_of(document, rating=rating, decision_rule="simple", max_false_accept_probability=None)
