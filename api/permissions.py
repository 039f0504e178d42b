"""Who comes in at all; what a role may do is decided by the services."""

from typing import TYPE_CHECKING

from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from accounts.actors import Actor

if TYPE_CHECKING:
    # rest_framework.views reads the setting that names this module.
    from rest_framework.views import APIView


class MemberPermission(BasePermission):
    """Let in a member with a good token."""

    def has_permission(self, request: Request, view: "APIView") -> bool:
        """Tell whether an actor stands behind the request."""
        return isinstance(request.auth, Actor)
