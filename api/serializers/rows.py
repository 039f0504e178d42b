"""Rows as lists and details show them: the outside's ids, units in every name, local dates of the depot."""

from typing import Any

from rest_framework import serializers

from api.serializers.readings import CablesSerializer
from fleet.models import Installation, RatingRevision, Vehicle
from inspections.models import Calibration, Decline, Defect, DefectStep, Meter
from schedules.models import CheckPlan, DueDate, Reminder


class VehicleStampSerializer(serializers.Serializer[Any]):
    """A vehicle as other rows name it."""

    id = serializers.UUIDField(source="uuid")
    fleet_number = serializers.CharField()
    registration = serializers.CharField()


class DepotStampSerializer(serializers.Serializer[Any]):
    """A depot as other rows name it."""

    id = serializers.UUIDField(source="uuid")
    name = serializers.CharField()


class RowSerializer(serializers.ModelSerializer[Any]):
    """A row under the id that the outside knows."""

    id = serializers.UUIDField(source="uuid", read_only=True)


class OfInstallationSerializer(RowSerializer):
    """A row of an installation, with the vehicle and depot it stands for."""

    installation = serializers.UUIDField(source="installation.uuid", read_only=True)
    vehicle = VehicleStampSerializer(source="installation.vehicle", read_only=True)
    depot = DepotStampSerializer(source="installation.vehicle.depot", read_only=True)


class VehicleSerializer(RowSerializer):
    """A vehicle."""

    depot = DepotStampSerializer(read_only=True)

    class Meta:
        model = Vehicle
        fields = [
            "id", "depot", "fleet_number", "registration", "vin", "vin_exception", "make", "model_year",
            "system_voltage_v", "operator", "alternator_rated_a", "in_service", "changed_at",
        ]  # fmt: skip


class RatingRowSerializer(RowSerializer):
    """A rating on file, in the words an assessment takes."""

    stages = serializers.SerializerMethodField()
    rated_current_a = serializers.SerializerMethodField()
    rated_currents_a = serializers.SerializerMethodField()
    identified = serializers.SerializerMethodField()
    tolerance_percent = serializers.SerializerMethodField()
    revision = serializers.IntegerField(source="number")

    class Meta:
        model = RatingRevision
        fields = [
            "id", "revision", "identified", "stages", "rated_current_a", "rated_currents_a", "reference_voltage_v",
            "reference_voltage_basis", "reference_temperature_c", "tolerance_percent", "tolerance_lower_percent",
            "tolerance_upper_percent", "tolerance_assumed", "reference_temperature_assumed", "survey_limits",
            "system_voltage_v", "coils_in_series", "coils_in_parallel", "sources",
        ]  # fmt: skip

    def get_stages(self, revision: RatingRevision) -> int:
        """Return the number of stages."""
        return len(revision.rated_currents_a)

    def get_identified(self, revision: RatingRevision) -> bool:
        """Return whether the type is known, and with it any figure."""
        return revision.identified

    def get_rated_currents_a(self, revision: RatingRevision) -> list[float] | None:
        """Return one figure a stage, null where the type is not identified."""
        return list(revision.rated_currents_a) if self.get_identified(revision) else None

    def get_rated_current_a(self, revision: RatingRevision) -> float | None:
        """Return the one figure where all stages share it."""
        return revision.rated_currents_a[0] if len(set(revision.rated_currents_a)) == 1 else None

    def get_tolerance_percent(self, revision: RatingRevision) -> float | None:
        """Return the one figure where both sides share it."""
        lower, upper = revision.tolerance_lower_percent, revision.tolerance_upper_percent
        return lower if lower == upper else None


class RetarderTypeSerializer(serializers.Serializer[Any]):
    """A unit's type; one that is not identified holds what was counted on the unit."""

    id = serializers.UUIDField(source="uuid")
    designation = serializers.CharField()
    identified = serializers.BooleanField()
    stages = serializers.IntegerField()
    coils_counted = serializers.IntegerField(allow_null=True)
    leads_counted = serializers.IntegerField(allow_null=True)
    air_gap_mm = serializers.FloatField(allow_null=True)
    note = serializers.CharField()


class RetarderSerializer(serializers.Serializer[Any]):
    """The unit itself, as an installation shows it."""

    id = serializers.UUIDField(source="uuid")
    designation = serializers.CharField(source="retarder_type.designation")
    type = RetarderTypeSerializer(source="retarder_type")
    # The type of its own that it had while its type was not identified.
    found_as = serializers.UUIDField(source="found_as.uuid", allow_null=True, default=None)
    serial_number = serializers.CharField()
    overhauled_on = serializers.DateField(allow_null=True)
    warranty_until = serializers.DateField(allow_null=True)


class RelayBoxSerializer(serializers.Serializer[Any]):
    """How the relay box switches."""

    id = serializers.UUIDField(source="uuid")
    designation = serializers.CharField()
    drive = serializers.CharField()
    control_input = serializers.CharField()
    fuses = serializers.CharField()
    outputs_by_input = serializers.JSONField(allow_null=True)
    lamps = serializers.IntegerField(allow_null=True)
    stop_lamp_output = serializers.BooleanField(allow_null=True)
    auxiliary_loads = serializers.JSONField()
    note = serializers.CharField()


class InstallationSerializer(RowSerializer):
    """A retarder in a vehicle, with the rating it is judged by."""

    vehicle = VehicleStampSerializer(read_only=True)
    depot = DepotStampSerializer(source="vehicle.depot", read_only=True)
    retarder = RetarderSerializer(read_only=True)
    rating = serializers.SerializerMethodField()
    relay_box = RelayBoxSerializer(source="relay_box_type", read_only=True, allow_null=True)
    cables = CablesSerializer(read_only=True)

    class Meta:
        model = Installation
        fields = [
            "id", "vehicle", "depot", "retarder", "rating", "relay_box", "mounting", "return_path", "cables",
            "fitted_on", "removed_on", "changed_at",
        ]  # fmt: skip

    def get_rating(self, installation: Installation) -> dict[str, Any]:
        """Return the newest revision, which the list has fetched along."""
        newest = max(installation.retarder.retarder_type.revisions.all(), key=lambda revision: revision.number)
        return dict(RatingRowSerializer(newest).data)


class CalibrationSerializer(RowSerializer):
    """A calibration as its certificate says."""

    class Meta:
        model = Calibration
        fields = [
            "id", "performed_on", "due_on", "certificate", "found_in_tolerance", "passed", "as_found", "as_left",
            "note",
        ]  # fmt: skip


class MeterSerializer(RowSerializer):
    """A test meter with its accuracy and calibrations."""

    calibrations = CalibrationSerializer(many=True, read_only=True)

    class Meta:
        model = Meter
        fields = [
            "id", "kind", "designation", "serial_number", "accuracy_percent", "accuracy_counts", "resolution",
            "range_max", "ranges", "calibration_due_on", "retired_on", "calibrations", "changed_at",
        ]  # fmt: skip


class CheckPlanSerializer(OfInstallationSerializer):
    """How often an installation is checked."""

    class Meta:
        model = CheckPlan
        fields = [
            "id", "installation", "vehicle", "depot", "months", "days", "km", "hours", "anchor_on", "lead_days",
            "pass_required", "source", "ended_at", "changed_at",
        ]  # fmt: skip


class DueSerializer(OfInstallationSerializer):
    """When an installation is next due."""

    plan = serializers.UUIDField(source="plan.uuid", read_only=True, allow_null=True, default=None)
    # The strictest release decision of the unit's open defects; null where it runs without restriction.
    release_decision = serializers.CharField(read_only=True, allow_null=True)
    release_until = serializers.DateField(read_only=True, allow_null=True)

    class Meta:
        model = DueDate
        fields = [
            "id", "installation", "vehicle", "depot", "plan", "due_on", "limb", "state", "overdue_days",
            "last_check_on", "verdict_changed", "release_decision", "release_until", "changed_at",
        ]  # fmt: skip


class ReminderSerializer(OfInstallationSerializer):
    """A message owed to a person."""

    plan = serializers.UUIDField(source="plan.uuid", read_only=True)
    person = serializers.CharField(source="person.user.username", read_only=True)

    class Meta:
        model = Reminder
        fields = [
            "id", "installation", "vehicle", "depot", "plan", "person", "lead_stage", "due_on", "queued_at",
            "sent_at", "seen_at", "changed_at",
        ]  # fmt: skip


class DefectSerializer(OfInstallationSerializer):
    """Something found wrong with an installation."""

    found_by = serializers.UUIDField(source="found_by.uuid", read_only=True, allow_null=True, default=None)
    released_by = serializers.CharField(source="released_by.username", read_only=True, allow_null=True, default=None)

    class Meta:
        model = Defect
        fields = [
            "id", "installation", "vehicle", "depot", "found_by", "stage", "code", "state", "verdict_changed",
            "opened_at", "closed_at", "release_decision", "release_until", "released_by", "driver_told_at",
            "confirmed_cause", "changed_at",
        ]  # fmt: skip


class DefectStepSerializer(RowSerializer):
    """One step in a defect's life."""

    by = serializers.CharField(source="by.username", read_only=True, allow_null=True, default=None)
    inspection = serializers.UUIDField(source="inspection.uuid", read_only=True, allow_null=True, default=None)

    class Meta:
        model = DefectStep
        fields = ["id", "kind", "at", "by", "inspection", "details"]


class DefectDetailSerializer(DefectSerializer):
    """A defect with every step of its life."""

    steps = DefectStepSerializer(many=True, read_only=True)

    class Meta(DefectSerializer.Meta):
        fields = [*DefectSerializer.Meta.fields, "steps"]


class DeclineSerializer(OfInstallationSerializer):
    """A loss of current that the night's work has flagged."""

    raised_by = serializers.UUIDField(source="raised_by.uuid", read_only=True)

    class Meta:
        model = Decline
        fields = [
            "id", "installation", "vehicle", "depot", "attribution", "stage", "rising", "state", "raised_by",
            "raised_at", "ended_at", "reason", "changed_at",
        ]  # fmt: skip
