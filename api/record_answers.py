"""One inspection's whole record, as the API answers it."""

from typing import Any

from accounts.audit import entry_record
from accounts.models import AuditEntry
from api.answers import inspection_row
from api.serializers.records import RecordRatingSerializer
from api.serializers.rows import CalibrationSerializer
from inspections.models import Calibration, ExtraReading, Inspection, Judgement
from inspections.sentences import CAUTION
from inspections.sentences_record import SIGNATURE_MEANING
from inspections.whole_record import WholeRecord

# A request's id stands in the log beside its address.
WITHHELD = ("address", "request_id")


def record_answer(record: WholeRecord, *, with_addresses: bool) -> dict[str, Any]:
    """Return the record of one inspection; from where somebody worked is for who manages the book.

    So are the hashes over it: from a hash and all the rest an address is found by trying each.
    """
    inspection, first = record.inspection, record.judgements[0]
    return {
        "inspection": inspection_row(inspection),
        "evidence": inspection.evidence,
        "content_hash": inspection.content_hash,
        "rating": RecordRatingSerializer(record.first_rating).data,
        "calibrations": {kind: _calibration(found) for kind, found in record.calibrations.items()},
        "decision_rule": first.decision_rule,
        "max_false_accept_probability": first.max_false_accept_probability,
        "judgements": [_judgement(each) for each in record.judgements],
        "extra_readings": [_extra_reading(each) for each in record.extra_readings],
        "signature": _signature(inspection),
        "supersedes": _replaced(record),
        "superseded_by": _replacing(inspection),
        "audit_entries": [_entry(each, with_address=with_addresses) for each in record.entries],
        "caution": str(CAUTION),
    }


def _calibration(found: Calibration | None) -> Any:
    return None if found is None else CalibrationSerializer(found).data


def _judgement(judgement: Judgement) -> dict[str, Any]:
    names = (
        "number", "verdict", "decision_rule", "max_false_accept_probability", "method_version", "corrections",
        "reason", "judged_at", "result",
    )  # fmt: skip
    return {
        "id": judgement.uuid,
        **{name: getattr(judgement, name) for name in names},
        "rating": RecordRatingSerializer(judgement.rating_revision).data,
        "judged_by": judgement.judged_by and judgement.judged_by.username,
    }


def _extra_reading(reading: ExtraReading) -> dict[str, Any]:
    names = ("kind", "stage", "coil", "energised", "value", "over_range", "received_at", "content_hash")
    return {
        "id": reading.uuid,
        **{name: getattr(reading, name) for name in names},
        "recorded_by": reading.recorded_by.username,
    }


def _signature(inspection: Inspection) -> dict[str, Any] | None:
    if inspection.signed_by is None:
        return None
    return {
        "signed_at": inspection.signed_at,
        "signed_by": inspection.signed_by.username,
        "meaning": str(SIGNATURE_MEANING),
    }


def _replaced(record: WholeRecord) -> dict[str, Any] | None:
    old = record.replaces
    if old is None or old.superseded_by_id != record.inspection.pk:
        return None
    return {"id": old.uuid, "reason": old.superseded_reason}


def _replacing(inspection: Inspection) -> dict[str, Any] | None:
    new = inspection.superseded_by
    return None if new is None else {"id": new.uuid, "reason": inspection.superseded_reason}


def _entry(entry: AuditEntry, *, with_address: bool) -> dict[str, Any]:
    record = entry_record(entry)
    return {
        "sequence": entry.sequence,
        "at": entry.at,
        "actor": entry.actor and entry.actor.username,
        "on_behalf_of": entry.on_behalf_of and entry.on_behalf_of.username,
        "action": entry.action,
        "record": record if with_address else {name: told for name, told in record.items() if name not in WITHHELD},
        "previous_hash": entry.previous_hash if with_address else None,
        "hash": entry.hash if with_address else None,
    }
