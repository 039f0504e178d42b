"""Sets of checks that somebody had judged anew: what was asked, how far it has come, and which verdicts changed."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from accounts.identity import OrganisationQuerySet, OrganisationRow
from accounts.models import User
from accounts.tracking import Tracking
from inspections.models.codes import VERDICT_CODES, VERDICTS, one_of
from inspections.models.inspections import Inspection


class Rejudging(OrganisationRow):
    """A set judged anew: first compared without storing, then, once somebody decides so, stored beside the old.

    The set is the checks of the choice up to `up_to`; those up to `done_to` are done.  A runner holds it by
    `claimed_at`.  Where it failed it keeps the `error` until a chunk is done.
    """

    STATES = [
        ("comparing", _("being compared")),
        ("compared", _("compared, nothing stored")),
        ("storing", _("being stored")),
        ("done", _("stored")),
    ]
    tracking: ClassVar[Tracking] = Tracking(untracked_because="a work list: each judgement has its own entry")

    selection = models.JSONField(default=dict)
    terms = models.JSONField(default=dict)
    reason = models.TextField()
    content_hash = models.CharField(max_length=64)
    requested_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    requested_at = models.DateTimeField()
    state = models.CharField(max_length=10, choices=STATES, default="comparing")
    up_to = models.BigIntegerField()
    total = models.PositiveIntegerField()
    done_to = models.BigIntegerField(default=0)
    judged = models.PositiveIntegerField(default=0)
    claimed_at = models.DateTimeField(null=True)
    error = models.TextField(blank=True, default="")
    finished_at = models.DateTimeField(null=True)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="rejudging_id"),
            models.CheckConstraint(
                name="rejudging_state_known", condition=one_of("state", ["comparing", "compared", "storing", "done"])
            ),
            models.CheckConstraint(name="rejudging_has_a_reason", condition=~Q(reason="")),
        ]

    def __str__(self) -> str:
        return self.reason


class RejudgedVerdict(OrganisationRow):
    """A check whose verdict would change, or did: compared or stored, as its rejudging stands."""

    tracking: ClassVar[Tracking] = Tracking(untracked_because="a report: the judgements themselves have their entries")

    rejudging = models.ForeignKey(Rejudging, on_delete=models.PROTECT, related_name="changed_verdicts")
    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="+")
    verdict_before = models.CharField(max_length=20, choices=VERDICTS)
    verdict_after = models.CharField(max_length=20, choices=VERDICTS)

    objects = OrganisationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organisation", "uuid"], name="rejudged_verdict_id"),
            models.UniqueConstraint(fields=["rejudging", "inspection"], name="rejudged_verdict_once"),
            models.CheckConstraint(
                name="rejudged_verdicts_known",
                condition=one_of("verdict_before", VERDICT_CODES) & one_of("verdict_after", VERDICT_CODES),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.verdict_before} -> {self.verdict_after}"
