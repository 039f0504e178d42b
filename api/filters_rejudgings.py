"""What a list of sets judged anew can be narrowed by."""

import django_filters as filters

from api.filters import RowFilter
from inspections.models import Rejudging


class RejudgingFilter(RowFilter):
    """Sets judged anew by state."""

    state = filters.ChoiceFilter(choices=Rejudging.STATES)

    class Meta:
        model = Rejudging
        fields: list[str] = []
