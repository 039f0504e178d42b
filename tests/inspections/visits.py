"""Visits recorded through the service, from documents as a client would post them."""

import datetime as dt
import json
from decimal import Decimal
from typing import Any

from accounts.actors import Actor
from accounts.instants import instant
from accounts.tenancy import organisation_transaction
from api.serializers.submissions import InspectionSerializer
from inspections.services.record import Recorded, record_inspection
from inspections.services.rejudging import Terms
from inspections.services.rejudging_runs import counted_changes, judge_anew_at_once
from schedules.models import DueDate
from tests import builders
from tests.builders import Workshop

# What a stage of the workshop's unit (35.5 A at 14.0 V, ±10 %) draws for each verdict of the guarded rule.
CURRENT_A = {"pass": 36.3, "conditional_pass": 38.6, "conditional_fail": 39.6, "fail": 43.0}
AN_HOUR = dt.timedelta(hours=1)


def parsed(document: dict[str, Any]) -> dict[str, Any]:
    """Return a document as the door hands it to the service: Decimal, UUID and aware datetime values."""
    sent = InspectionSerializer(data=json.loads(json.dumps(document), parse_float=Decimal))
    sent.is_valid(raise_exception=True)
    return dict(sent.validated_data)


def visit(of: Workshop, *, verdict: str = "pass", **fields: Any) -> dict[str, Any]:
    """Return the parsed document of a visit whose readings deserve the verdict."""
    if verdict == "undetermined":
        readings = builders.single_pass(current_a=0.0, supply_voltage_v=0.0)
    else:
        readings = builders.single_pass(CURRENT_A[verdict])
    return parsed(builders.inspection_document(of, **{"stage_readings": readings, **fields}))


def recorded(of: Workshop, performed_at: str = "2026-03-02T09:30:00Z", **fields: Any) -> Recorded:
    """Record a visit that was sent within the hour; `by` is a technician unless given."""
    by: Actor = fields.pop("by", None) or builders.actor(of.organisation)
    document = visit(of, performed_at=performed_at, **fields)
    with organisation_transaction(of.organisation):
        return record_inspection(by, document, received_at=instant(performed_at) + AN_HOUR)


def changes_judged_anew(by: Actor, terms: Terms, **selection: str) -> dict[tuple[str, str], int]:
    """Judge a set anew and store it, and return how many went from which verdict to which."""
    return dict(counted_changes(judge_anew_at_once(by, selection=selection, terms=terms)))


def due_date(of: Workshop) -> DueDate:
    """Return the unit's due date as stored."""
    return DueDate.objects.get(installation=of.installation)
