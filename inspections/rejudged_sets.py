"""Which checks are judged anew: by type and revision, meter, period, depot or one unit."""

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.db.models import Q

from accounts.identity import OrganisationQuerySet
from accounts.models import Depot, Organisation
from fleet.models import Installation, RetarderType
from inspections.models import Inspection, Meter

# What a choice may name, and the table its id is looked up in.
NAMED = {"retarder_type": RetarderType, "meter": Meter, "depot": Depot, "installation": Installation}
Selection = Mapping[str, Any]


def chosen_inspections(organisation: Organisation, selection: Selection) -> OrganisationQuerySet[Inspection]:
    """Return the checks of a choice; an empty choice is every check, replaced ones included, for they are evidence."""
    rows = Inspection.objects.of(organisation)
    if "retarder_type" in selection:
        rows = rows.filter(installation__retarder__retarder_type__uuid=selection["retarder_type"])
    if "revision" in selection:
        rows = rows.filter(rating_revision__number=selection["revision"])
    if "meter" in selection:
        rows = rows.filter(Q(ammeter__uuid=selection["meter"]) | Q(voltmeter__uuid=selection["meter"]))
    if "since" in selection:
        rows = rows.filter(performed_on__gte=dt.date.fromisoformat(selection["since"]))
    if "until" in selection:
        rows = rows.filter(performed_on__lte=dt.date.fromisoformat(selection["until"]))
    if "depot" in selection:
        rows = rows.filter(depot__uuid=selection["depot"])
    if "installation" in selection:
        rows = rows.filter(installation__uuid=selection["installation"])
    return rows
