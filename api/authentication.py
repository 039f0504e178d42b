"""Bearer tokens (RFC 6750): who acts, for which organisation, in which role."""

from django.utils.translation import gettext as _
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from knox.auth import TokenAuthentication
from knox.crypto import hash_token
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from accounts.actors import Actor, member_actor
from accounts.models import ApiToken, Member, User
from accounts.services import has_ended, note_token_use
from accounts.tenancy import name_organisation


class BearerAuthentication(TokenAuthentication):
    """Set `request.auth` to the acting member, and name the organisation for the rest of the transaction."""

    def authenticate(self, request: Request) -> tuple[User, Actor] | None:
        """Return the person and the actor, None without a bearer token; refuse one that is not good."""
        found = super().authenticate(request)  # type: ignore[no-untyped-call]
        if found is None:
            return None
        user, token = found
        member = Member.objects.of(token.organisation).filter(user=user).select_related("user", "organisation").first()
        if member is None or has_ended(member) or member.organisation.closed_at is not None:
            raise AuthenticationFailed(_("This token's access has ended."))
        name_organisation(member.organisation)
        note_token_use(token)
        address = request.META.get("REMOTE_ADDR", "")
        return user, member_actor(member, source="api", address=address)

    def authenticate_credentials(self, token: bytes) -> tuple[User, ApiToken]:
        """Look the token up by its digest: one query, whatever number of tokens there are."""
        digest = hash_token(token.decode("latin-1"))
        row = ApiToken.objects.filter(pk=digest).select_related("user", "organisation").first()
        if row is None or row.is_expired or not row.user.is_active:
            raise AuthenticationFailed(_("Invalid token."))
        return row.user, row


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How the schema describes the tokens."""

    target_class = "api.authentication.BearerAuthentication"
    name = "bearer"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:
        """Return the security scheme."""
        return {"type": "http", "scheme": "bearer"}
