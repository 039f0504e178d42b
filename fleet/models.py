"""What exists: vehicles and their counters, retarder and relay box types, retarders, and who is fitted where."""

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from accounts.identity import OrganisationQuerySet, OrganisationRow
from accounts.models import Depot, User

MAX_STAGES = 8


class Vehicle(OrganisationRow):
    """A vehicle of the fleet, based at a depot."""

    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="vehicles")
    fleet_number = models.CharField(max_length=40)
    registration = models.CharField(max_length=20, blank=True)
    vin = models.CharField(max_length=17, blank=True)
    vin_exception = models.CharField(max_length=200, blank=True)
    make = models.CharField(max_length=100, blank=True)
    model_year = models.PositiveSmallIntegerField(null=True, blank=True)
    system_voltage_v = models.PositiveSmallIntegerField()
    operator = models.CharField(max_length=200, blank=True)
    alternator_rated_a = models.FloatField(null=True, blank=True)
    in_service = models.BooleanField(default=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="vehicle_id"),
            models.UniqueConstraint(fields=["organisation", "fleet_number"], name="vehicle_fleet_number"),
            models.UniqueConstraint(fields=["organisation", "vin"], name="vehicle_vin", condition=~Q(vin="")),
            models.CheckConstraint(name="vehicle_system_voltage", condition=Q(system_voltage_v__in=[12, 24])),
            models.CheckConstraint(
                name="vehicle_alternator_positive",
                condition=Q(alternator_rated_a__isnull=True) | Q(alternator_rated_a__gt=0),
            ),
        ]
        indexes = [models.Index(fields=["organisation", "registration"], name="vehicle_registration")]

    def __str__(self) -> str:
        return self.fleet_number


class UsageCounter(OrganisationRow):
    """An odometer or engine-hour counter; a replaced one stays, and its successor starts from an offset."""

    KINDS = [("odometer", _("odometer")), ("engine_hours", _("engine hours"))]

    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="counters")
    kind = models.CharField(max_length=20, choices=KINDS)
    offset = models.FloatField(default=0.0)
    removed_on = models.DateField(null=True, blank=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="counter_id"),
            models.UniqueConstraint(
                fields=["vehicle", "kind"], name="counter_one_running", condition=Q(removed_on__isnull=True)
            ),
            models.CheckConstraint(name="counter_kind_known", condition=Q(kind__in=["odometer", "engine_hours"])),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of {self.vehicle_id}"


class CounterReading(OrganisationRow):
    """What a counter showed on a day, in km or h, before its offset."""

    counter = models.ForeignKey(UsageCounter, on_delete=models.PROTECT, related_name="readings")
    read_on = models.DateField()
    value = models.FloatField()
    source = models.CharField(max_length=40, blank=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="counter_reading_id"),
            models.UniqueConstraint(fields=["counter", "read_on"], name="counter_reading_once_a_day"),
            models.CheckConstraint(name="counter_reading_not_negative", condition=Q(value__gte=0)),
        ]

    def __str__(self) -> str:
        return f"{self.value} on {self.read_on}"


class RetarderType(OrganisationRow):
    """A kind of retarder; its figures stand in revisions, because a rating is corrected and never overwritten.

    A unit whose plate cannot be read has a type of its own that is not identified: what was counted and measured on it
    stands here, and its revision holds no rated amps.
    """

    designation = models.CharField(max_length=100)
    stages = models.PositiveSmallIntegerField()
    identified = models.BooleanField(default=True)
    coils_counted = models.PositiveSmallIntegerField(null=True, blank=True)
    leads_counted = models.PositiveSmallIntegerField(null=True, blank=True)
    air_gap_mm = models.FloatField(null=True, blank=True)
    note = models.TextField(blank=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="retarder_type_id"),
            models.UniqueConstraint(fields=["organisation", "designation"], name="retarder_type_designation"),
            models.CheckConstraint(name="retarder_type_stages", condition=Q(stages__range=(1, MAX_STAGES))),
            models.CheckConstraint(
                name="retarder_type_counted_positive",
                condition=(Q(coils_counted__isnull=True) | Q(coils_counted__gte=1))
                & (Q(leads_counted__isnull=True) | Q(leads_counted__gte=1))
                & (Q(air_gap_mm__isnull=True) | Q(air_gap_mm__gt=0)),
            ),
        ]

    def __str__(self) -> str:
        return self.designation


NOT_IDENTIFIED = Q(reference_voltage_basis="not_identified")
NO_TOLERANCE = NOT_IDENTIFIED & Q(tolerance_lower_percent__isnull=True, tolerance_upper_percent__isnull=True)
NO_WIRING = NOT_IDENTIFIED & Q(coils_in_series__isnull=True, coils_in_parallel__isnull=True)


class RatingRevision(OrganisationRow):
    """The rated figures of a retarder type as known from a day on, each with its source; append-only."""

    BASES = [
        ("stated", _("stated")),
        ("assumed_running", _("assumed, running")),
        ("unknown", _("unknown")),
        # Of a type that is not identified: no amps, no tolerance and no wiring either.
        ("not_identified", _("type not identified")),
    ]

    retarder_type = models.ForeignKey(RetarderType, on_delete=models.PROTECT, related_name="revisions")
    number = models.PositiveIntegerField()
    rated_currents_a = models.JSONField()
    reference_voltage_v = models.FloatField(null=True, blank=True)
    reference_voltage_basis = models.CharField(max_length=20, choices=BASES)
    reference_temperature_c = models.FloatField(default=20.0)
    reference_temperature_assumed = models.BooleanField(default=False)
    tolerance_lower_percent = models.FloatField(null=True, blank=True)
    tolerance_upper_percent = models.FloatField(null=True, blank=True)
    tolerance_assumed = models.BooleanField(default=False)
    system_voltage_v = models.PositiveSmallIntegerField()
    coils_in_series = models.PositiveSmallIntegerField(null=True)
    coils_in_parallel = models.PositiveSmallIntegerField(null=True)
    # What the mechanical survey's numbers are held against: by item, a lower and an upper limit in mm.
    survey_limits = models.JSONField(default=dict, blank=True)
    sources = models.JSONField(default=dict, blank=True)
    reason = models.TextField(blank=True)
    entered_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="rating_id"),
            models.UniqueConstraint(fields=["retarder_type", "number"], name="rating_revision_once"),
            models.CheckConstraint(
                name="rating_reference_voltage_has_its_basis",
                condition=Q(reference_voltage_basis__in=["unknown", "not_identified"], reference_voltage_v__isnull=True)
                | Q(reference_voltage_basis="stated", reference_voltage_v__isnull=False, reference_voltage_v__gt=0)
                | Q(
                    reference_voltage_basis="assumed_running",
                    reference_voltage_v__isnull=False,
                    reference_voltage_v__in=[14.0, 28.0],
                ),
            ),
            models.CheckConstraint(name="rating_system_voltage", condition=Q(system_voltage_v__in=[12, 24])),
            models.CheckConstraint(
                name="rating_tolerance_positive",
                condition=(Q(tolerance_lower_percent__isnull=True) | Q(tolerance_lower_percent__gt=0))
                & (Q(tolerance_upper_percent__isnull=True) | Q(tolerance_upper_percent__gt=0))
                & (Q(tolerance_lower_percent__isnull=False) | Q(tolerance_upper_percent__isnull=False))
                & ~NOT_IDENTIFIED
                | NO_TOLERANCE,
            ),
            models.CheckConstraint(
                name="rating_wiring_positive",
                condition=Q(
                    coils_in_series__isnull=False,
                    coils_in_parallel__isnull=False,
                    coils_in_series__gte=1,
                    coils_in_parallel__gte=1,
                )
                & ~NOT_IDENTIFIED
                | NO_WIRING,
            ),
            # The amps are a list as long as the type has stages; of a type that is not identified all are null.
            models.CheckConstraint(
                name="rating_without_amps_if_not_identified",
                condition=NOT_IDENTIFIED & Q(rated_currents_a__0=None) | ~NOT_IDENTIFIED & ~Q(rated_currents_a__0=None),
            ),
        ]

    def __str__(self) -> str:
        return f"revision {self.number}"

    @property
    def identified(self) -> bool:
        """Return whether the revision holds figures: that of a type that is not identified holds none."""
        return self.reference_voltage_basis != "not_identified"


class RelayBoxType(OrganisationRow):
    """How a kind of relay box switches: each way in which boxes differ is a column."""

    DRIVES = [("relay", _("relay")), ("contactor", _("contactor")), ("electronic", _("electronic"))]
    CONTROL_INPUTS = [
        ("positive_switched", _("positive-switched")),
        ("ground_switched", _("ground-switched")),
        ("data_bus", _("data bus")),
        ("unknown", _("unknown")),
    ]
    FUSES = [("per_stage", _("per stage")), ("common", _("common")), ("none", _("none")), ("other", _("other"))]

    designation = models.CharField(max_length=100)
    stages = models.PositiveSmallIntegerField()
    drive = models.CharField(max_length=20, choices=DRIVES)
    control_input = models.CharField(max_length=20, choices=CONTROL_INPUTS)
    fuses = models.CharField(max_length=20, choices=FUSES)
    outputs_by_input = models.JSONField(null=True, blank=True)
    lamps = models.PositiveSmallIntegerField(null=True, blank=True)
    stop_lamp_output = models.BooleanField(null=True, blank=True)
    auxiliary_loads = models.JSONField(default=list, blank=True)
    note = models.TextField(blank=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="relay_box_type_id"),
            models.UniqueConstraint(fields=["organisation", "designation"], name="relay_box_type_designation"),
            models.CheckConstraint(name="relay_box_type_stages", condition=Q(stages__range=(1, MAX_STAGES))),
            models.CheckConstraint(
                name="relay_box_type_drive_known", condition=Q(drive__in=["relay", "contactor", "electronic"])
            ),
            models.CheckConstraint(
                name="relay_box_type_input_known",
                condition=Q(control_input__in=["positive_switched", "ground_switched", "data_bus", "unknown"]),
            ),
            models.CheckConstraint(
                name="relay_box_type_fuses_known", condition=Q(fuses__in=["per_stage", "common", "none", "other"])
            ),
        ]

    def __str__(self) -> str:
        return self.designation


class Retarder(OrganisationRow):
    """The unit itself; its history follows it from vehicle to vehicle."""

    retarder_type = models.ForeignKey(RetarderType, on_delete=models.PROTECT, related_name="retarders")
    # What it was put on file as before its type was identified; whoever finds the type wrong goes back to it.
    found_as = models.ForeignKey(RetarderType, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    serial_number = models.CharField(max_length=60)
    overhauled_on = models.DateField(null=True, blank=True)
    warranty_until = models.DateField(null=True, blank=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="retarder_id"),
            models.UniqueConstraint(fields=["organisation", "retarder_type", "serial_number"], name="retarder_serial"),
        ]
        indexes = [models.Index(fields=["organisation", "serial_number"], name="retarder_by_serial")]

    def __str__(self) -> str:
        return self.serial_number


class Installation(OrganisationRow):
    """A retarder in a vehicle from a day to a day, with its relay box, cables and return."""

    RETURNS = [("frame", _("frame")), ("insulated", _("insulated lead")), ("unknown", _("unknown"))]

    retarder = models.ForeignKey(Retarder, on_delete=models.PROTECT, related_name="installations")
    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="installations")
    relay_box_type = models.ForeignKey(RelayBoxType, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    mounting = models.CharField(max_length=100, blank=True)
    return_path = models.CharField(max_length=20, choices=RETURNS, default="unknown")
    cables = models.JSONField(default=dict, blank=True)
    fitted_on = models.DateField(null=True, blank=True)
    removed_on = models.DateField(null=True, blank=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="installation_id"),
            models.UniqueConstraint(
                fields=["retarder"], name="installation_one_vehicle_at_a_time", condition=Q(removed_on__isnull=True)
            ),
            models.CheckConstraint(
                name="installation_removed_after_fitted",
                condition=Q(removed_on__isnull=True) | Q(fitted_on__isnull=True) | Q(removed_on__gte=F("fitted_on")),
            ),
            models.CheckConstraint(
                name="installation_return_known", condition=Q(return_path__in=["frame", "insulated", "unknown"])
            ),
        ]

    def __str__(self) -> str:
        return f"{self.retarder_id} in {self.vehicle_id}"
