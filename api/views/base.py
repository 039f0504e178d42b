"""What every view here shares: the acting member, and rows narrowed to the member's organisation."""

from typing import Any

from django.db.models import QuerySet
from rest_framework.generics import GenericAPIView
from rest_framework.mixins import ListModelMixin, RetrieveModelMixin
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from accounts.actors import Actor
from accounts.roles import Ability


class ActorView(APIView):
    """A view behind which a member acts."""

    @property
    def actor(self) -> Actor:
        """Return the acting member; the permission has seen to it that there is one."""
        actor = self.request.auth
        if not isinstance(actor, Actor):
            raise TypeError("the view was reached without an actor")
        return actor


class ReadableRows(ActorView, GenericAPIView[Any]):
    """Rows of the member's organisation, found from outside by their UUID."""

    lookup_field = "uuid"
    lookup_url_kwarg = "id"
    lookup_value_converter = "outside_id"
    queryset: QuerySet[Any]

    def get_queryset(self) -> QuerySet[Any]:
        """Return the organisation's rows."""
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows.none()
        self.actor.require(Ability.READ)
        return rows.filter(organisation=self.actor.organisation)


class RowViewSet(ReadableRows, ListModelMixin, RetrieveModelMixin, GenericViewSet[Any]):
    """A list and a detail."""
