"""What was measured and judged: meters, inspections and the rows beside them, judgements, declines, defects."""

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from accounts.identity import OrganisationQuerySet, OrganisationRow
from accounts.models import DECISION_RULES, Depot, User
from calc.hypotheses import READINGS
from fleet.models import MAX_STAGES, Installation, RatingRevision

VERDICTS = [
    ("pass", _("Inside limits")),
    ("conditional_pass", _("Inside, not certain")),
    ("conditional_fail", _("Outside, not certain")),
    ("fail", _("Outside limits")),
    ("undetermined", _("No verdict")),
]
VERDICT_CODES = [code for code, _label in VERDICTS]
TEMPERATURE_METHODS = ["measured", "parked", "cold_resistance", "cooling_model", "unknown"]
ENGINE_STATES = ["off", "idle", "high_idle"]
PURPOSES = ["routine", "first", "retest", "fault_finding"]
EXTRA_READING_KINDS = list(READINGS)
STAGES = range(1, MAX_STAGES + 1)


def _one_of(field: str, codes: list[str]) -> Q:
    return Q(**{f"{field}__in": codes})


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
            models.CheckConstraint(name="meter_kind_known", condition=_one_of("kind", ["ammeter", "voltmeter"])),
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


class Inspection(OrganisationRow):
    """One visit's evidence in one row; superseded with a reason, never edited.

    The evidence columns are guarded by triggers.  Signing and superseding are written once.  The rest is derived, and
    only the judging service writes it: levels and their uncertainty are whole hundredths of a percent of rated.
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

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="inspection_id"),
            models.CheckConstraint(name="inspection_verdict_known", condition=_one_of("verdict", VERDICT_CODES)),
            models.CheckConstraint(name="inspection_purpose_known", condition=_one_of("purpose", PURPOSES)),
            models.CheckConstraint(
                name="inspection_engine_known",
                condition=Q(engine_state__isnull=True) | _one_of("engine_state", ENGINE_STATES),
            ),
            models.CheckConstraint(
                name="inspection_temperature_method_known",
                condition=_one_of("coil_temperature_method", TEMPERATURE_METHODS),
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
            models.CheckConstraint(name="extra_reading_kind_known", condition=_one_of("kind", EXTRA_READING_KINDS)),
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
    result = models.JSONField()
    reason = models.TextField(blank=True)
    judged_at = models.DateTimeField()
    judged_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="judgement_id"),
            models.UniqueConstraint(fields=["inspection", "number"], name="judgement_number"),
            models.CheckConstraint(name="judgement_verdict_known", condition=_one_of("verdict", VERDICT_CODES)),
            models.CheckConstraint(
                name="judgement_after_the_first_has_a_reason", condition=Q(number=1) | ~Q(reason="")
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.verdict}"


class Trend(OrganisationRow):
    """What the night's work knows of an installation's levels: one row, fitted anew when evidence arrives."""

    installation = models.OneToOneField(Installation, on_delete=models.PROTECT, related_name="trend")
    stages = models.JSONField()
    attribution = models.CharField(max_length=20, null=True)  # noqa: DJ001
    next_check_on = models.DateField(null=True)
    # The evidence it was fitted to, as a digest: a night without news finds it unchanged and fits nothing.
    fitted_to = models.CharField(max_length=64)
    method = models.CharField(max_length=40)
    method_version = models.CharField(max_length=10)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["organisation", "uuid"], name="trend_id")]

    def __str__(self) -> str:
        return f"trend of {self.installation_id}"


class Decline(OrganisationRow):
    """A loss (or rise) of current that the night's work has flagged, keyed to the evidence that raised it."""

    ATTRIBUTIONS = [
        ("stage", _("one stage")),
        ("all_stages", _("all stages")),
        ("supply", _("supply")),
        ("retarder_ground", _("retarder ground")),
        ("meter", _("test meter")),
    ]
    STATES = [
        ("watched", _("watched")),
        ("confirmed", _("confirmed")),
        ("withdrawn", _("withdrawn")),
        ("resolved", _("resolved")),
    ]

    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="declines")
    raised_by = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="+")
    attribution = models.CharField(max_length=20, choices=ATTRIBUTIONS)
    stage = models.PositiveSmallIntegerField(null=True)
    rising = models.BooleanField(default=False)
    state = models.CharField(max_length=10, choices=STATES)
    raised_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    reason = models.TextField(blank=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="decline_id"),
            models.UniqueConstraint("raised_by", "attribution", Coalesce("stage", 0), name="decline_once"),
            models.CheckConstraint(
                name="decline_attribution_known",
                condition=_one_of("attribution", ["stage", "all_stages", "supply", "retarder_ground", "meter"]),
            ),
            models.CheckConstraint(
                name="decline_state_known",
                condition=_one_of("state", ["watched", "confirmed", "withdrawn", "resolved"]),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.attribution} {self.state}"


RELEASE_DECISIONS = [
    ("unrestricted", _("unrestricted")),
    ("isolated", _("retarder isolated, driver told")),
    ("route_restricted", _("route restricted")),
    ("off_the_road", _("off the road")),
]


class Defect(OrganisationRow):
    """Something found wrong with an installation, open until a passing retest or a certified reason closes it."""

    STATES = [
        ("open", _("open")),
        ("repaired", _("repaired")),
        ("repair_unnecessary", _("repair unnecessary")),
        ("closed", _("closed")),
    ]

    installation = models.ForeignKey(Installation, on_delete=models.PROTECT, related_name="defects")
    found_by = models.ForeignKey(Inspection, on_delete=models.PROTECT, null=True, related_name="defects")
    stage = models.PositiveSmallIntegerField(null=True)
    code = models.CharField(max_length=40)
    state = models.CharField(max_length=20, choices=STATES, default="open")
    # The verdict it rests on was given anew with another outcome; true until somebody decides.
    verdict_changed = models.BooleanField(default=False)
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True)
    # Whether and how the vehicle may run meanwhile: a named person's decision, with an end.
    release_decision = models.CharField(max_length=20, choices=RELEASE_DECISIONS, blank=True)
    release_until = models.DateField(null=True)
    released_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    driver_told_at = models.DateTimeField(null=True)
    confirmed_cause = models.CharField(max_length=40, blank=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="defect_id"),
            models.CheckConstraint(
                name="defect_release_has_a_person_and_an_end",
                condition=Q(release_decision="", release_until__isnull=True, released_by__isnull=True)
                | Q(
                    release_decision__in=["unrestricted", "isolated", "route_restricted", "off_the_road"],
                    release_until__isnull=False,
                    released_by__isnull=False,
                ),
            ),
            models.UniqueConstraint(
                "installation",
                Coalesce("stage", 0),
                "code",
                name="defect_open_once",
                condition=Q(closed_at__isnull=True),
            ),
            models.CheckConstraint(
                name="defect_state_known",
                condition=_one_of("state", ["open", "repaired", "repair_unnecessary", "closed"]),
            ),
            models.CheckConstraint(
                name="defect_closed_has_a_time",
                condition=Q(closed_at__isnull=False, state__in=["closed", "repair_unnecessary"])
                | Q(closed_at__isnull=True, state__in=["open", "repaired"]),
            ),
        ]
        indexes = [models.Index(fields=["organisation", "state", "opened_at"], name="defect_by_state")]

    def __str__(self) -> str:
        return f"{self.code} stage {self.stage}"


class DefectStep(OrganisationRow):
    """One step in a defect's life, with who took it and why; append-only."""

    KINDS = [
        ("opened", _("opened")),
        ("released", _("release decided")),
        ("driver_told", _("driver told")),
        ("repaired", _("repaired")),
        ("repair_unnecessary", _("repair unnecessary")),
        ("retest_passed", _("retest passed")),
        ("retest_failed", _("retest failed")),
        ("verdict_settled", _("changed verdict settled")),
    ]

    defect = models.ForeignKey(Defect, on_delete=models.PROTECT, related_name="steps")
    kind = models.CharField(max_length=20, choices=KINDS)
    at = models.DateTimeField()
    by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, null=True, related_name="+")
    details = models.JSONField(default=dict)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="defect_step_id"),
            models.CheckConstraint(
                name="defect_step_kind_known",
                condition=_one_of(
                    "kind",
                    [
                        "opened",
                        "released",
                        "driver_told",
                        "repaired",
                        "repair_unnecessary",
                        "retest_passed",
                        "retest_failed",
                        "verdict_settled",
                    ],
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of {self.defect_id}"
