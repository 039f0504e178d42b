"""History: who did what to which object, when, from where, and what it was before."""

import zoneinfo
from typing import Any

from django.db.models import QuerySet
from django.http import Http404
from django.utils.functional import cached_property

from accounts.models import AuditEntry
from accounts.roles import Ability
from dashboard.lists import BookListView
from dashboard.records.action_words import OBJECTS
from dashboard.records.entry_rows import entry_rows, zone_of
from dashboard.records.families import entries_about, object_called
from dashboard.records.filters import OBJECT_TYPES, HistoryFilter
from dashboard.records.things import things_by_id


class History(BookListView):
    """Everything that was done in the organisation, newest first."""

    template_name = "dashboard/records/history.html"
    filter_class = HistoryFilter
    order = ("-sequence",)

    def rows(self) -> QuerySet[AuditEntry]:
        """Return the entries; who got in how is for those who manage people."""
        entries = AuditEntry.objects.of(self.organisation)
        if not self.actor.may(Ability.MANAGE):
            entries = entries.exclude(object_type__in=OBJECT_TYPES["people"])
        return entries.select_related("actor", "on_behalf_of")

    @cached_property
    def zone(self) -> zoneinfo.ZoneInfo:
        """Return the zone that times are shown in."""
        return zone_of(self.organisation)

    def shown(self, rows: list[Any]) -> Any:
        """Return the entries in words."""
        return entry_rows(self.organisation, rows, self.zone)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say which zone the times are in, and whether addresses may be seen."""
        context = {"zone": self.zone, "may_manage": self.actor.may(Ability.MANAGE)}
        return super().get_context_data(**kwargs) | context


class ObjectHistory(History):
    """What was done to one object and its parts; the address names it under its kind."""

    kind = ""

    def rows(self) -> QuerySet[AuditEntry]:
        """Return the object's entries; one of another organisation does not exist here."""
        if self.found is None:
            raise Http404
        if self.kind in OBJECT_TYPES["people"]:
            self.actor.require(Ability.MANAGE)
        entries = entries_about(self.organisation, self.kind, self.found)
        return entries.select_related("actor", "on_behalf_of")

    @cached_property
    def found(self) -> Any:
        """Return the object that the address names, None where there is none."""
        return object_called(self.organisation, self.kind, self.kwargs[self.kind])

    @cached_property
    def zone(self) -> zoneinfo.ZoneInfo:
        """Return the object's depot's zone, where it has a depot."""
        depot = getattr(self.found, "depot", None)
        vehicle = getattr(self.found, "vehicle", None) or getattr(
            getattr(self.found, "installation", None), "vehicle", None
        )
        zone: zoneinfo.ZoneInfo | None = getattr(depot or getattr(vehicle, "depot", None), "zone", None)
        return zone or zone_of(self.organisation)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Name the object."""
        context = super().get_context_data(**kwargs)
        key = (self.kind, self.kwargs[self.kind])
        return context | {"about": things_by_id(self.organisation, [key]).get(key), "about_kind": OBJECTS[self.kind]}
