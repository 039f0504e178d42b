"""What every tenant row shares: its organisation, the id the outside knows it by, and when it last changed."""

from typing import Any, ClassVar, Self, TypeVar
from uuid import UUID

import uuid6
from django.db import models
from django.utils import timezone

from accounts.tracking import Tracking

Row = TypeVar("Row", bound=models.Model)


def new_id() -> UUID:
    """Return a UUID version 7 (RFC 9562), so that ids made one after another also sort that way."""
    return UUID(int=uuid6.uuid7().int)


class OrganisationQuerySet(models.QuerySet[Row]):
    """The one place where rows are narrowed to an organisation."""

    def of(self, organisation: Any) -> Self:
        """Keep what belongs to the organisation."""
        return self.filter(organisation=organisation)


class OrganisationRow(models.Model):
    """A row that belongs to one organisation; `uuid` is its id to the outside, unique inside the organisation only.

    Its content is held to its last audit entry, unless its table says in `tracking` why not.
    """

    tracking: ClassVar[Tracking] = Tracking()

    organisation = models.ForeignKey("accounts.Organisation", on_delete=models.PROTECT, related_name="+")
    uuid = models.UUIDField(default=new_id, editable=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    changed_at = models.DateTimeField(auto_now=True)

    class Meta:
        abstract = True
