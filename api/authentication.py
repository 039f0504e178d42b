"""Bearer tokens (RFC 6750): who acts, for which organisation, in which role, and whether for reading alone."""

from django.db.models import BigIntegerField, CharField, DateField
from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from knox.auth import TokenAuthentication
from knox.crypto import hash_token
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from accounts.actors import Actor, member_actor
from accounts.addresses import client_address
from accounts.models import READ_ONLY, ApiToken, Member, User
from accounts.prepared import One, Prepared
from accounts.services import note_token_use
from accounts.tenancy import name_key, name_organisation_by_key

# No header of a client's gets this name in a request's META.
REFUSED = "coilbook.token_refused"
_TOKEN = Prepared(lambda digest: ApiToken.objects.filter(pk=digest).select_related("user"), One(CharField()))
_MEMBER = Prepared(
    lambda organisation, user, day: (
        Member.objects.of(organisation).current(day).filter(user=user).select_related("user", "organisation")
    ),
    One(BigIntegerField()),
    One(BigIntegerField()),
    One(DateField()),
)


class BearerAuthentication(TokenAuthentication):
    """Set `request.auth` to the acting member, and name the organisation for the rest of the transaction.

    What a token may is decided here and nowhere else in this room: one that only reads makes an actor that only reads,
    and the services ask the actor.
    """

    def authenticate(self, request: Request) -> tuple[User, Actor] | None:
        """Return the person and the actor, None without a bearer token; refuse one that is not good."""
        try:
            return self._acting(request)
        except AuthenticationFailed:
            # Another instance of this class is asked for the header.
            request._request.META[REFUSED] = True
            raise

    def _acting(self, request: Request) -> tuple[User, Actor] | None:
        found = super().authenticate(request)  # type: ignore[no-untyped-call]
        if found is None:
            return None
        user, token = found
        name_organisation_by_key(token.organisation_id)
        member = _MEMBER.first(token.organisation_id, user.pk, timezone.now().date())
        if member is None:
            raise AuthenticationFailed(_("This token's access has ended."))
        note_token_use(token)
        actor = member_actor(
            member,
            source="api",
            address=client_address(request._request),
            token=token.name,
            read_only=token.scope == READ_ONLY,
        )
        return user, actor

    def authenticate_credentials(self, token: bytes) -> tuple[User, ApiToken]:
        """Look the token up by its digest: one query, whatever number of tokens there are."""
        digest = hash_token(token.decode("latin-1"))
        name_key(digest)
        row = _TOKEN.first(digest)
        if row is None or row.is_expired or not row.user.is_active:
            raise AuthenticationFailed(_("Invalid token."))
        return row.user, row

    def authenticate_header(self, request: Request) -> str:
        """Say which scheme is wanted, and that the token is not good where one was refused (RFC 6750, section 3)."""
        # The library reads the scheme's name here too, before any token is looked at.
        return 'Bearer error="invalid_token"' if request.META.get(REFUSED) else "Bearer"


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How the schema describes the tokens."""

    target_class = "api.authentication.BearerAuthentication"
    name = "bearer"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:
        """Return the security scheme."""
        return {"type": "http", "scheme": "bearer"}
