"""The units behind a number of Today."""

from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from dashboard.filters import UnitFilter
from dashboard.lists import BookListView
from dashboard.unit_words import unit_states
from fleet.models import Installation
from inspections.needs import NEEDS, installations_by_need


class Units(BookListView):
    """Installations in service, each with the one thing it needs first."""

    template_name = "dashboard/units.html"
    filter_class = UnitFilter
    order = ("vehicle__fleet_number", "pk")

    def rows(self) -> QuerySet[Installation]:
        """Return the installations in service by need."""
        units = installations_by_need(self.organisation, today=timezone.now().date())
        return units.select_related("vehicle__depot", "retarder__retarder_type", "due_date__depot", "due_date__plan")

    def shown(self, rows: list[Any]) -> Any:
        """Return each unit with its need in words and its sentence."""
        words = dict(NEEDS)
        return [(words[state.installation.need], state) for state in unit_states(rows, now=timezone.now())]  # type: ignore[attr-defined]
