"""Clamps and voltmeters, and what their certificates say."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from accounts.identity import OrganisationQuerySet, OrganisationRow
from inspections.models.codes import one_of


class Meter(OrganisationRow):
    """A clamp or voltmeter with its stated accuracy, ±(percent of reading + counts); figures are in A or V."""

    KINDS = [("ammeter", _("ammeter")), ("voltmeter", _("voltmeter"))]

    kind = models.CharField(max_length=10, choices=KINDS)
    designation = models.CharField(max_length=100)
    serial_number = models.CharField(max_length=60, blank=True)
    accuracy_percent = models.FloatField()
    accuracy_counts = models.FloatField()
    resolution = models.FloatField()
    range_max = models.FloatField(null=True, blank=True)
    calibration_due_on = models.DateField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="meter_id"),
            models.UniqueConstraint(fields=["organisation", "designation"], name="meter_designation"),
            models.CheckConstraint(name="meter_kind_known", condition=one_of("kind", ["ammeter", "voltmeter"])),
            models.CheckConstraint(
                name="meter_accuracy_makes_sense",
                condition=Q(accuracy_percent__gte=0, accuracy_counts__gte=0, resolution__gt=0),
            ),
            models.CheckConstraint(
                name="meter_range_positive", condition=Q(range_max__isnull=True) | Q(range_max__gt=0)
            ),
        ]

    def __str__(self) -> str:
        return self.designation


class Calibration(OrganisationRow):
    """One calibration of a meter, as its certificate says; append-only."""

    meter = models.ForeignKey(Meter, on_delete=models.PROTECT, related_name="calibrations")
    performed_on = models.DateField()
    due_on = models.DateField(null=True, blank=True)
    certificate = models.CharField(max_length=100, blank=True)
    passed = models.BooleanField(default=True)
    as_found = models.JSONField(null=True, blank=True)
    as_left = models.JSONField(null=True, blank=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="calibration_id"),
            models.UniqueConstraint(fields=["meter", "performed_on"], name="calibration_once_a_day"),
            models.CheckConstraint(
                name="calibration_due_after_done", condition=Q(due_on__isnull=True) | Q(due_on__gte=F("performed_on"))
            ),
        ]

    def __str__(self) -> str:
        return f"{self.meter_id} on {self.performed_on}"
