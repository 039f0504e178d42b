"""Propose a defect where a verdict asks for one."""

import datetime as dt
from collections.abc import Iterable

from accounts.actors import Actor
from accounts.audit import Deed
from accounts.tracking import content
from inspections.models import Defect, Inspection
from inspections.services.judging import Result


def propose_defects(actor: Actor, inspection: Inspection, result: Result, *, at: dt.datetime) -> list[Deed]:
    """Open a defect for each failed stage and each finding of that weight, unless the same one is open already."""
    wanted = dict.fromkeys(_asked_for(result))
    if not wanted:
        return []
    open_already = set(
        Defect.objects.filter(installation=inspection.installation, closed_at__isnull=True).values_list("stage", "code")
    )
    fresh = [
        Defect(
            organisation=actor.organisation,
            installation=inspection.installation,
            found_by=inspection,
            stage=stage,
            code=code,
            opened_at=at,
        )
        for stage, code in wanted
        if (stage, code) not in open_already
    ]
    Defect.objects.bulk_create(fresh, ignore_conflicts=True)
    return [Deed("open", defect, after=content(defect)) for defect in _stored(fresh)]


def _stored(fresh: list[Defect]) -> list[Defect]:
    """Return those that were stored: of two checks at once only one opens the same defect."""
    stored = set(Defect.objects.filter(uuid__in=[defect.uuid for defect in fresh]).values_list("uuid", flat=True))
    return [defect for defect in fresh if defect.uuid in stored]


def _asked_for(result: Result) -> Iterable[tuple[int | None, str]]:
    for stage in result["stages"]:
        if stage["verdict"] == "fail":
            yield stage["stage"], "outside_limits"
    for finding in result["findings"]:
        if finding["severity"] == "defect":
            yield finding["stage"], finding["code"]
