"""A defect's life: released or not, repaired or certified unnecessary, and closed only by a passing retest.

Each step is a row of its own; the defect holds only where it stands now.
"""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.canonical import plain
from accounts.errors import Conflict, Fault, Refused
from accounts.roles import Ability
from accounts.tracking import content, differences
from calc.hypotheses import CAUSES
from inspections.models import RELEASE_DECISIONS, Defect, DefectStep, Inspection
from inspections.queries import INSIDE_LIMITS
from inspections.services.judging import Result

UNFINISHED = ["open", "repaired"]
# What a retest must have noted so that it says anything about a defect of that kind.
LOOKED_AT = {"output_mismatch": "outputs_live", "lamp_mismatch": "lamps_lit"}

# What of a unit whose type is not identified says that a stage is not, or is not known to be, as it should be.
NOT_SOUND_BY_ITSELF = frozenset(
    {"stage_unlike_the_others", "stages_unlike", "stage_unlike_its_history", "stage_current_not_told"}
)


@transaction.atomic
def decide_release(actor: Actor, defect: Defect, *, decision: str, until: dt.date, reason: str) -> Defect:
    """Decide whether and how the vehicle may run with the defect, by name and until a day."""
    actor.require(Ability.MANAGE)
    allowed = [code for code, _label in RELEASE_DECISIONS]
    faults = _unless(decision in allowed, "decision", decision, ", ".join(allowed))
    faults += _unless(bool(reason), "reason", reason, _("a reason in words"))
    if faults:
        raise Refused(*faults)
    details = {"decision": decision, "until": until, "reason": reason}
    return _step(
        actor,
        defect,
        "released",
        details,
        release_decision=decision,
        release_until=until,
        released_by=actor.user,
        release_ended_at=None,
        driver_told_at=None,
    )


@transaction.atomic
def note_driver_told(actor: Actor, defect: Defect, *, driver: str) -> Defect:
    """Keep that the driver was told of the defect and of the release decision."""
    actor.require(Ability.CAPTURE)
    return _step(actor, defect, "driver_told", {"driver": driver}, driver_told_at=timezone.now())


@transaction.atomic
def record_repair(actor: Actor, defect: Defect, *, done: str, parts: Sequence[str] = (), cause: str = "") -> Defect:
    """Keep what was done and which cause it confirmed; the defect then waits for a passing retest."""
    actor.require(Ability.SIGN)
    faults = _unless(bool(done), "done", done, _("what was done, in words"))
    faults += _unless(cause in ("", *CAUSES), "cause", cause, ", ".join(CAUSES))
    if faults:
        raise Refused(*faults)
    details = {"done": done, "parts": list(parts), "cause": cause}
    return _step(actor, defect, "repaired", details, state="repaired", confirmed_cause=cause)


@transaction.atomic
def certify_repair_unnecessary(actor: Actor, defect: Defect, *, reason: str) -> Defect:
    """Close a defect without a repair, on a named person's word and reason."""
    actor.require(Ability.MANAGE)
    if faults := _unless(bool(reason), "reason", reason, _("a reason in words")):
        raise Refused(*faults)
    return _step(
        actor, defect, "repair_unnecessary", {"reason": reason}, state="repair_unnecessary", closed_at=timezone.now()
    )


@transaction.atomic
def settle_changed_verdict(actor: Actor, defect: Defect, *, reason: str) -> Defect:
    """Decide that the defect stands as it is although the verdict it rests on was given anew with another outcome."""
    actor.require(Ability.MANAGE)
    return _step(actor, defect, "verdict_settled", {"reason": reason}, verdict_changed=False)


def settle_retest(actor: Actor, inspection: Inspection, result: Result) -> list[Deed]:
    """Close the repaired defects that a signed retest passes, and open those again that it does not."""
    wanted = inspection.evidence.get("retest_of") or []
    if inspection.purpose != "retest" or inspection.signed_at is None or not wanted:
        return []
    defects = Defect.objects.select_for_update(no_key=True).filter(
        organisation=inspection.organisation_id, uuid__in=wanted, state__in=UNFINISHED
    )
    looked_at = [defect for defect in defects.order_by("pk") if _looked_at_again(defect, inspection)]
    return [deed for defect in looked_at for deed in _retested(actor, defect, inspection, result)]


def _looked_at_again(defect: Defect, inspection: Inspection) -> bool:
    """Tell whether the retest looked at what was wrong: good amps say nothing about a lamp or an exchanged output."""
    readings = inspection.evidence["stage_readings"]
    of_stage = [reading for reading in readings if defect.stage is None or defect.stage in reading["energised"]]
    if defect.code == "rest_current":
        return inspection.evidence.get("rest") is not None
    needed = LOOKED_AT.get(defect.code)
    return any(needed is None or reading.get(needed) is not None for reading in of_stage)


def _retested(actor: Actor, defect: Defect, inspection: Inspection, result: Result) -> list[Deed]:
    passed = _is_inside(defect, inspection, result) or _is_gone(defect, inspection, result)
    # What was never repaired is not closed by a reading that happens to be good: somebody has to say why it was bad.
    closes = passed and defect.state == "repaired"
    kind = "retest_passed" if passed else "retest_failed"
    columns: dict[str, Any] = {"state": "closed", "closed_at": inspection.signed_at} if closes else {}
    if not passed:
        # What did not help was not the cause.
        columns = {"state": "open", "confirmed_cause": ""}
    return _write_step(actor, defect, kind, {}, inspection, columns)


def _is_inside(defect: Defect, inspection: Inspection, result: Result) -> bool:
    verdicts = [stage["verdict"] for stage in _affected(defect, result)]
    return inspection.verdict in INSIDE_LIMITS and all(verdict in INSIDE_LIMITS for verdict in verdicts)


def _is_gone(defect: Defect, inspection: Inspection, result: Result) -> bool:
    """Tell whether a unit whose type is not identified, which no retest can pass, no longer shows what was wrong."""
    stages = _affected(defect, result)
    reasons = {reason["code"] for reason in result["verdict_reasons"]}
    reasons |= {stage["undetermined_reason"] for stage in stages}
    if inspection.verdict != "undetermined" or not stages or reasons != {"type_not_identified"}:
        return False
    return not any(_speaks_against(defect, finding) for finding in result["findings"])


def _affected(defect: Defect, result: Result) -> list[Mapping[str, Any]]:
    return [stage for stage in result["stages"] if defect.stage in (None, stage["stage"])]


def _speaks_against(defect: Defect, finding: Mapping[str, Any]) -> bool:
    of_stage = None in (defect.stage, finding["stage"]) or defect.stage == finding["stage"]
    same = finding["code"] == defect.code and finding["severity"] != "note"
    return of_stage and (same or finding["severity"] == "defect" or finding["code"] in NOT_SOUND_BY_ITSELF)


def _step(actor: Actor, defect: Defect, kind: str, details: Mapping[str, Any], **columns: Any) -> Defect:
    locked = Defect.objects.select_for_update(no_key=True).of(actor.organisation).get(pk=defect.pk)
    if locked.state not in UNFINISHED:
        raise Conflict(_("The defect is closed already."))
    write_audit(actor, _write_step(actor, locked, kind, details, None, columns))
    return locked


def _write_step(
    actor: Actor,
    defect: Defect,
    kind: str,
    details: Mapping[str, Any],
    inspection: Inspection | None,
    columns: Mapping[str, Any],
) -> list[Deed]:
    as_it_was = content(defect)
    for column, value in columns.items():
        setattr(defect, column, value)
    defect.save(update_fields=[*columns, "changed_at"])
    before, after = differences(as_it_was, content(defect))
    step = DefectStep.objects.create(
        organisation_id=defect.organisation_id,
        defect=defect,
        kind=kind,
        at=timezone.now(),
        by=actor.user,
        inspection=inspection,
        details=plain(details),
    )
    taken = Deed("take", step, after=content(step))
    return [taken, Deed(kind, defect, before=before, after=after, reason=str(details.get("reason", "")))]


def _unless(holds: bool, field: str, value: str, allowed: str) -> list[Fault]:
    if holds:
        return []
    detail = _("%(field)s is %(value)r; allowed is: %(allowed)s.")
    return [Fault((field,), "invalid", detail % {"field": field, "value": value, "allowed": allowed})]
