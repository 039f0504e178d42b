"""What every view here shares: the acting member, and rows narrowed to the member's organisation."""

from typing import Any

from django.db.models import QuerySet
from django.http import Http404
from django.http.response import HttpResponseBase
from django.utils.translation import gettext as _
from rest_framework.generics import GenericAPIView
from rest_framework.mixins import ListModelMixin, RetrieveModelMixin
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from accounts.actors import Actor
from accounts.roles import Ability
from api.etags import PreconditionFailed, conditional, require_match
from api.views.guarded import guarded

READS = {"GET", "HEAD"}
# A change of a row has to say what it changes; a step in its life may.
MATCHED = {"PATCH", "PUT", "DELETE"}
# What may carry an Idempotency-Key.
KEYED = {"POST", "PATCH"}


class ActorView(APIView):
    """A view behind which a member acts."""

    @property
    def actor(self) -> Actor:
        """Return the acting member; the permission has seen to it that there is one."""
        actor = self.request.auth
        if not isinstance(actor, Actor):
            raise TypeError("the view was reached without an actor")
        return actor

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        """Give what was read its entity tag, or say that the client has it already."""
        answer: HttpResponseBase = super().finalize_response(request, response, *args, **kwargs)
        if request.method in READS and answer.status_code == 200 and isinstance(answer, Response):
            return conditional(request, answer)
        return answer


class ReadableRows(ActorView, GenericAPIView[Any]):
    """Rows of the member's organisation, found from outside by their UUID."""

    lookup_field = "uuid"
    lookup_url_kwarg = "id"
    lookup_value_converter = "outside_id"
    queryset: QuerySet[Any]

    def get_queryset(self) -> QuerySet[Any]:
        """Return the organisation's rows."""
        rows: Any = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            nothing: QuerySet[Any] = rows.none()
            return nothing
        self.actor.require(Ability.READ)
        own: QuerySet[Any] = rows.of(self.actor.organisation)
        return own


class RowViewSet(ReadableRows, ListModelMixin, RetrieveModelMixin, GenericViewSet[Any]):
    """A list and a detail, and writes that are compared with what the client saw and answered once."""

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Let a member in, and put the guards before whatever is going to write."""
        super().initial(request, *args, **kwargs)
        name = (request.method or "").lower()
        handler = getattr(self, name, None)
        if request.method in READS or name not in self.http_method_names or handler is None:
            return
        check = self._compare if self._has_to_match(request, kwargs) else None
        setattr(self, name, guarded(handler, self.actor, check=check, keyed=request.method in KEYED))

    def shown(self, row: Any) -> Any:
        """Return the representation that a read of the row answers."""
        return self.get_serializer(row).data

    def _has_to_match(self, request: Request, kwargs: dict[str, Any]) -> bool:
        named = self.lookup_url_kwarg in kwargs
        return named and (request.method in MATCHED or "If-Match" in request.headers)

    def _compare(self) -> None:
        """Lock the row, and refuse where it is not what the client saw."""
        self.lock_row()
        try:
            row = self.get_object()
        except Http404:
            if self.request.headers.get("If-Match") == "*":
                raise PreconditionFailed(_("There is no such row.")) from None
            raise
        require_match(self.request, self.shown(row), required=self.request.method in MATCHED)

    def lock_row(self) -> None:
        """Keep other writers of the row out until the transaction ends."""
        rows = self.queryset.model._default_manager.filter(organisation=self.actor.organisation, uuid=self.kwargs["id"])
        list(rows.order_by("pk").select_for_update(no_key=True).values_list("pk"))
