"""Vehicles, and the box that finds one."""

from typing import Any

from django.db.models import Prefetch, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.generic import TemplateView

from accounts.models import Organisation
from dashboard.access import MemberRequiredMixin
from dashboard.filtering import squeezed
from dashboard.filters import VehicleFilter
from dashboard.lists import BookListView
from dashboard.typed import typed_text
from dashboard.unit_words import unit_states
from fleet.models import Installation, Vehicle

MOST_FOUND = 20


def vehicles_with_units(organisation: Organisation) -> QuerySet[Vehicle]:
    """Return vehicles with the units fitted to them."""
    fitted = (
        Installation.objects.of(organisation)
        .filter(removed_on__isnull=True)
        .select_related("vehicle__depot", "retarder__retarder_type", "due_date__depot", "due_date__plan")
    )
    units = Prefetch("installations", queryset=fitted.order_by("pk"), to_attr="fitted")
    return Vehicle.objects.of(organisation).select_related("depot").prefetch_related(units)


def with_sentences(vehicles: list[Any]) -> list[tuple[Vehicle, list[Any]]]:
    """Return each vehicle with the state of its units."""
    states = unit_states([unit for vehicle in vehicles for unit in vehicle.fitted], now=timezone.now())
    return [(each, [state for state in states if state.installation.vehicle_id == each.pk]) for each in vehicles]


class Vehicles(BookListView):
    """Every vehicle of the organisation."""

    template_name = "dashboard/vehicles.html"
    filter_class = VehicleFilter
    order = ("fleet_number", "pk")

    def rows(self) -> QuerySet[Vehicle]:
        """Return the vehicles."""
        return vehicles_with_units(self.organisation)

    def shown(self, rows: list[Any]) -> Any:
        """Return each vehicle with the state of its units."""
        return with_sentences(rows)


class Find(MemberRequiredMixin, TemplateView):
    """One box: fleet number, registration, VIN or serial; what fits exactly is opened at once."""

    template_name = "dashboard/find.html"

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Open the one vehicle that is meant, or offer what comes near."""
        text = typed_text(request.GET, "q")
        found = self._found(text) if squeezed(text) else []
        exact = [vehicle for vehicle in found if squeezed(text) in _names(vehicle)]
        only = exact if len(exact) == 1 else found
        if len(only) == 1:
            return redirect("dashboard:vehicle", organisation=self.organisation.slug, vehicle=only[0].uuid)
        context = {"text": text, "rows": with_sentences(found[:MOST_FOUND]), "too_many": len(found) > MOST_FOUND}
        return self.render_to_response(self.get_context_data(**context))

    def _found(self, text: str) -> list[Vehicle]:
        narrowed = VehicleFilter({"q": text}, queryset=vehicles_with_units(self.organisation), request=self)
        return list(narrowed.qs.order_by("fleet_number", "pk")[: MOST_FOUND + 1])


def _names(vehicle: Any) -> set[str]:
    serials = {squeezed(unit.retarder.serial_number) for unit in vehicle.fitted}
    return serials | {squeezed(text) for text in (vehicle.fleet_number, vehicle.registration, vehicle.vin) if text}
