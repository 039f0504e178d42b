"""What was found wrong, and what was done about it."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from accounts.identity import OrganisationQuerySet, OrganisationRow
from accounts.models import Member, User
from accounts.models.outgoing import HELD_VALUES, Outgoing
from accounts.tracking import Tracking
from fleet.models import Installation
from inspections.models.codes import RELEASE_DECISIONS, one_of
from inspections.models.inspections import Inspection

STEPS = [
    ("opened", _("opened")),
    ("released", _("release decided")),
    ("driver_told", _("driver told")),
    ("repaired", _("repaired")),
    ("repair_unnecessary", _("repair unnecessary")),
    ("retest_passed", _("retest passed")),
    ("retest_failed", _("retest failed")),
    ("verdict_settled", _("changed verdict settled")),
    ("reported", _("reported by driver")),
    ("release_ended", _("release ended")),
]
STEP_KINDS = [kind for kind, _word in STEPS]


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
    # Set once by the night's work when the decision has run out; a new decision clears it.
    release_ended_at = models.DateTimeField(null=True)
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
        indexes = [
            models.Index(fields=["organisation", "state", "opened_at"], name="defect_by_state"),
            models.Index(
                fields=["organisation", "confirmed_cause"], name="defect_by_cause", condition=~Q(confirmed_cause="")
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} stage {self.stage}"


class DefectStep(OrganisationRow):
    """One step in a defect's life, with who took it and why; append-only."""

    KINDS = STEPS

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
                condition=one_of("kind", STEP_KINDS),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of {self.defect_id}"


class ReleaseNotice(OrganisationRow, Outgoing):
    """Word to a person that a release decision has run out; the same end tells nobody twice."""

    defect = models.ForeignKey(Defect, on_delete=models.PROTECT, related_name="release_notices")
    release_until = models.DateField()
    person = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="release_notices")

    objects = OrganisationQuerySet.as_manager()
    tracking: ClassVar[Tracking] = Tracking(untracked_because="the night queues it and the outbox rewrites it")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="release_notice_id"),
            models.UniqueConstraint(fields=["defect", "release_until", "person"], name="release_notice_once"),
            models.CheckConstraint(name="release_notice_held_known", condition=Q(held__in=HELD_VALUES)),
        ]
        indexes = [
            models.Index(
                fields=["queued_at"], name="release_notice_to_send", condition=Q(sent_at__isnull=True, held="")
            )
        ]

    def __str__(self) -> str:
        return f"release of {self.defect_id} to {self.person_id}"
