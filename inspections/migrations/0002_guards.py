"""Make evidence append-only: what was measured, when it was received, and every verdict given on it."""

from django.db import migrations

from accounts.guards import guard

EVIDENCE_COLUMNS = [
    "id",
    "uuid",
    "organisation_id",
    "installation_id",
    "depot_id",
    "performed_at",
    "performed_on",
    "received_at",
    "recorded_by_id",
    "purpose",
    "engine_state",
    "coil_temperature_method",
    "ammeter_id",
    "voltmeter_id",
    "evidence",
    "content_hash",
    "clock_ahead",
    "created_at",
]
SET_ONCE_COLUMNS = ["signed_at", "signed_by_id", "superseded_by_id", "superseded_reason"]


PHOTO_COLUMNS = [
    "id",
    "uuid",
    "organisation_id",
    "inspection_id",
    "defect_id",
    "caption",
    "picture",
    "width_px",
    "height_px",
    "sent_hash",
    "received_at",
    "added_by_id",
    "created_at",
]
WITHDRAWAL = ["withdrawn_at", "withdrawn_by_id", "withdrawn_reason"]


class Migration(migrations.Migration):
    dependencies = [("inspections", "0001_initial"), ("accounts", "0002_guards")]

    operations = [
        guard("inspections_inspection", columns=EVIDENCE_COLUMNS, set_once=SET_ONCE_COLUMNS),
        guard("inspections_extrareading"),
        guard("inspections_judgement"),
        guard("inspections_calibration"),
        guard("inspections_defectstep"),
        guard("inspections_metercomparison"),
        guard("inspections_limitsrevision"),
        guard("inspections_photo", columns=PHOTO_COLUMNS, set_once=WITHDRAWAL),
    ]
