"""The bearer tokens of the interface."""

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from knox.models import AbstractAuthToken, AuthTokenManager

from accounts.identity import OrganisationQuerySet, new_id
from accounts.models.organisations import Organisation
from accounts.tracking import Tracking

READ_ONLY = "read"
AS_THE_ROLE = "role"
TOKEN_SCOPES = [(READ_ONLY, _("reads only")), (AS_THE_ROLE, _("all that the role may"))]


class ApiTokenManager(AuthTokenManager):
    """Makes tokens as the library does, and narrows them as every tenant row is narrowed."""

    def get_queryset(self) -> "OrganisationQuerySet[ApiToken]":
        """Return rows that can be narrowed to an organisation."""
        return OrganisationQuerySet(self.model, using=self._db)

    def of(self, organisation: Organisation) -> "OrganisationQuerySet[ApiToken]":
        """Keep what belongs to the organisation."""
        return self.get_queryset().of(organisation)


class ApiToken(AbstractAuthToken):
    """A bearer token of one person in one organisation; only its digest is kept."""

    tracking: ClassVar[Tracking] = Tracking(
        excluded={"last_used_at": "each use moves it"}, unspoken=frozenset({"digest", "token_key"})
    )

    uuid = models.UUIDField(default=new_id, unique=True, editable=False)
    organisation = models.ForeignKey(Organisation, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=100)
    scope = models.CharField(max_length=10, choices=TOKEN_SCOPES, default=AS_THE_ROLE)
    last_used_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[ApiTokenManager] = ApiTokenManager()

    class Meta:
        constraints = [
            models.CheckConstraint(name="token_scope_known", condition=Q(scope__in=[READ_ONLY, AS_THE_ROLE])),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_expired(self) -> bool:
        """Tell whether the token's time is over."""
        return self.expiry is not None and self.expiry <= timezone.now()
