"""What was found wrong, and what was done about it."""

from django.db import models
from django.db.models import Q
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from accounts.identity import OrganisationQuerySet, OrganisationRow
from accounts.models import User
from fleet.models import Installation
from inspections.models.codes import RELEASE_DECISIONS, one_of
from inspections.models.inspections import Inspection


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
                condition=one_of("state", ["open", "repaired", "repair_unnecessary", "closed"]),
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
                condition=one_of(
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
