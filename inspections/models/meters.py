"""Clamps and voltmeters, and what their certificates say."""

from itertools import pairwise

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from accounts.identity import OrganisationQuerySet, OrganisationRow
from accounts.models import User
from inspections.models.codes import one_of

RANGE_FIGURES = ("range_max", "accuracy_percent", "accuracy_counts", "resolution")


def validate_ranges(ranges: list[dict[str, float]]) -> None:
    """Refuse ranges that do not ascend, or figures that no meter has."""
    for one in ranges:
        figures = [one.get(name) for name in RANGE_FIGURES]
        if set(one) != set(RANGE_FIGURES) or any(figure is None for figure in figures):
            raise ValidationError(_("A range is its end, percent, counts and resolution."), "range_incomplete")
        if min(one.values()) < 0 or not one["range_max"] > 0 or not one["resolution"] > 0:
            raise ValidationError(_("A range ends above 0 and has a resolution above 0."), "range_impossible")
    if any(low["range_max"] >= high["range_max"] for low, high in pairwise(ranges)):
        raise ValidationError(_("Ranges are given smallest first."), "order")


class Meter(OrganisationRow):
    """A clamp or voltmeter with its stated accuracy, ±(percent of reading + counts); figures are in A or V.

    Where `ranges` are stated, smallest first, each reading takes those of the smallest range that holds it, and the
    columns repeat the figures of the largest.
    """

    KINDS = [("ammeter", _("ammeter")), ("voltmeter", _("voltmeter"))]

    kind = models.CharField(max_length=10, choices=KINDS)
    designation = models.CharField(max_length=100)
    serial_number = models.CharField(max_length=60, blank=True)
    accuracy_percent = models.FloatField()
    accuracy_counts = models.FloatField()
    resolution = models.FloatField()
    range_max = models.FloatField(null=True, blank=True)
    ranges = models.JSONField(default=list, blank=True, validators=[validate_ranges])
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
    """One calibration of a meter, as its certificate says; append-only.

    `found_in_tolerance` is about the meter as it came, and so about what was read with it before; `passed` about the
    meter as it left, and so about what is read with it after.  `as_found` and `as_left` are lists of points, each
    applied and shown, with their digits.
    """

    meter = models.ForeignKey(Meter, on_delete=models.PROTECT, related_name="calibrations")
    performed_on = models.DateField()
    due_on = models.DateField(null=True, blank=True)
    certificate = models.CharField(max_length=100, blank=True)
    passed = models.BooleanField(default=True)
    found_in_tolerance = models.BooleanField(default=True)
    note = models.TextField(blank=True)
    recorded_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    as_found = models.JSONField(null=True, blank=True)
    as_left = models.JSONField(null=True, blank=True)
    content_hash = models.CharField(max_length=64, blank=True)

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


class MeterComparison(OrganisationRow):
    """Two meters of one kind on one quantity at one time, and whether they agree; append-only.

    `pairs` keeps what each showed, its expanded uncertainty (k = 2) and E_n, `figures` the accuracy of both on that
    day, so that the outcome works out again whatever is learnt of the meters later.
    """

    first = models.ForeignKey(Meter, on_delete=models.PROTECT, related_name="compared_as_first")
    second = models.ForeignKey(Meter, on_delete=models.PROTECT, related_name="compared_as_second")
    compared_on = models.DateField()
    pairs = models.JSONField()
    figures = models.JSONField()
    normalised_error = models.FloatField()
    agree = models.BooleanField()
    note = models.TextField(blank=True)
    content_hash = models.CharField(max_length=64)
    recorded_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="meter_comparison_id"),
            models.CheckConstraint(name="meter_comparison_of_two", condition=~Q(first=F("second"))),
        ]
        indexes = [
            models.Index(fields=["organisation", "compared_on", "id"], name="meter_comparison_by_day"),
        ]

    def __str__(self) -> str:
        return f"{self.first_id} and {self.second_id} on {self.compared_on}"
