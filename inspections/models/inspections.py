"""What was measured and judged: inspections and the rows that stand beside them."""

from django.db import models
from django.db.models import Q

from accounts.identity import OrganisationQuerySet, OrganisationRow
from accounts.models import DECISION_RULES, Depot, User
from fleet.models import Installation, RatingRevision
from inspections.models.codes import (
    ENGINE_STATES,
    EXTRA_READING_KINDS,
    PURPOSES,
    TEMPERATURE_METHODS,
    VERDICT_CODES,
    VERDICTS,
    one_of,
)
from inspections.models.meters import Meter


class Inspection(OrganisationRow):
    """One visit's evidence in one row; superseded with a reason, never edited.

    The evidence columns are guarded by triggers.  Signing and superseding are written once.  The rest is derived, and
    only the judging service writes it: levels and their uncertainty are whole hundredths of a percent of rated,
    resistances and theirs whole microohms.
    """

    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="inspections")
    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="+")
    performed_at = models.DateTimeField()
    performed_on = models.DateField()
    received_at = models.DateTimeField()
    recorded_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    purpose = models.CharField(max_length=15)
    engine_state = models.CharField(max_length=10, null=True)  # noqa: DJ001
    coil_temperature_method = models.CharField(max_length=20)
    ammeter = models.ForeignKey(Meter, on_delete=models.PROTECT, related_name="+")
    voltmeter = models.ForeignKey(Meter, on_delete=models.PROTECT, related_name="+")
    evidence = models.JSONField()
    content_hash = models.CharField(max_length=64)
    clock_ahead = models.BooleanField(default=False)

    signed_at = models.DateTimeField(null=True)
    signed_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    superseded_by = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="supersedes")
    superseded_reason = models.TextField(null=True)  # noqa: DJ001

    verdict = models.CharField(max_length=20, choices=VERDICTS)
    decision_rule = models.CharField(max_length=20, choices=DECISION_RULES)
    rating_revision = models.ForeignKey(RatingRevision, on_delete=models.PROTECT, related_name="+")
    method_version = models.CharField(max_length=10)
    level_1 = models.IntegerField(null=True)
    level_2 = models.IntegerField(null=True)
    level_3 = models.IntegerField(null=True)
    level_4 = models.IntegerField(null=True)
    level_5 = models.IntegerField(null=True)
    level_6 = models.IntegerField(null=True)
    level_7 = models.IntegerField(null=True)
    level_8 = models.IntegerField(null=True)
    u_1 = models.IntegerField(null=True)
    u_2 = models.IntegerField(null=True)
    u_3 = models.IntegerField(null=True)
    u_4 = models.IntegerField(null=True)
    u_5 = models.IntegerField(null=True)
    u_6 = models.IntegerField(null=True)
    u_7 = models.IntegerField(null=True)
    u_8 = models.IntegerField(null=True)
    # What of the levels' uncertainty the clamp keeps from visit to visit, and what the stages of the visit share.
    u_meter = models.IntegerField(null=True)
    u_visit = models.IntegerField(null=True)
    upstream_uohm = models.IntegerField(null=True)
    u_upstream_uohm = models.IntegerField(null=True)
    shared_ground_uohm = models.IntegerField(null=True)
    u_shared_ground_uohm = models.IntegerField(null=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="inspection_id"),
            models.CheckConstraint(name="inspection_verdict_known", condition=one_of("verdict", VERDICT_CODES)),
            models.CheckConstraint(name="inspection_purpose_known", condition=one_of("purpose", PURPOSES)),
            models.CheckConstraint(
                name="inspection_engine_known",
                condition=Q(engine_state__isnull=True) | one_of("engine_state", ENGINE_STATES),
            ),
            models.CheckConstraint(
                name="inspection_temperature_method_known",
                condition=one_of("coil_temperature_method", TEMPERATURE_METHODS),
            ),
            models.CheckConstraint(
                name="inspection_signed_by_somebody",
                condition=Q(signed_at__isnull=True, signed_by__isnull=True)
                | Q(signed_at__isnull=False, signed_by__isnull=False),
            ),
            models.CheckConstraint(
                name="inspection_superseded_with_a_reason",
                condition=Q(superseded_by__isnull=True, superseded_reason__isnull=True)
                | Q(superseded_by__isnull=False) & ~Q(superseded_reason="") & Q(superseded_reason__isnull=False),
            ),
        ]
        indexes = [
            models.Index(fields=["organisation", "performed_at", "id"], name="inspection_by_time"),
            models.Index(fields=["installation", "performed_at"], name="inspection_by_installation"),
        ]

    def __str__(self) -> str:
        return str(self.uuid)


class ExtraReading(OrganisationRow):
    """A reading beyond volts and amps per stage, taken to tell causes apart; append-only."""

    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="extra_readings")
    kind = models.CharField(max_length=25)
    stage = models.PositiveSmallIntegerField(null=True)
    coil = models.PositiveSmallIntegerField(null=True)
    energised = models.JSONField()
    value = models.CharField(max_length=40, null=True)  # noqa: DJ001
    over_range = models.BooleanField(default=False)
    received_at = models.DateTimeField()
    recorded_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    content_hash = models.CharField(max_length=64)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="extra_reading_id"),
            models.CheckConstraint(name="extra_reading_kind_known", condition=one_of("kind", EXTRA_READING_KINDS)),
            models.CheckConstraint(
                name="extra_reading_has_a_value",
                condition=Q(value__isnull=False, over_range=False) | Q(value__isnull=True, over_range=True),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.stage}"


class Judgement(OrganisationRow):
    """The verdict on an inspection under one rule, rating revision and method version; a later one stands beside it."""

    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="judgements")
    number = models.PositiveIntegerField()
    verdict = models.CharField(max_length=20, choices=VERDICTS)
    decision_rule = models.CharField(max_length=20, choices=DECISION_RULES)
    max_false_accept_probability = models.FloatField(null=True)
    rating_revision = models.ForeignKey(RatingRevision, on_delete=models.PROTECT, related_name="+")
    method_version = models.CharField(max_length=10)
    corrections = models.JSONField(default=dict)
    # Both null: the rating's own tolerance.
    tolerance_lower_percent = models.FloatField(null=True)
    tolerance_upper_percent = models.FloatField(null=True)
    result = models.JSONField()
    reason = models.TextField(blank=True)
    judged_at = models.DateTimeField()
    judged_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="judgement_id"),
            models.UniqueConstraint(fields=["inspection", "number"], name="judgement_number"),
            models.CheckConstraint(name="judgement_verdict_known", condition=one_of("verdict", VERDICT_CODES)),
            models.CheckConstraint(
                name="judgement_after_the_first_has_a_reason", condition=Q(number=1) | ~Q(reason="")
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.verdict}"
