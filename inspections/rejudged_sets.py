"""Which checks are judged anew: by type and revision, meter, period, depot or unit, or those a calibration doubts."""

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.db.models import Exists, OuterRef, Q

from accounts.identity import OrganisationQuerySet
from accounts.models import Depot, Organisation
from fleet.models import Installation, Retarder, RetarderType
from inspections.calibrations import looked_back_on
from inspections.models import Calibration, Inspection, Judgement, Meter
from inspections.services.rejudging import Terms

# What a choice may name, and the table its id is looked up in.
NAMED = {
    "retarder_type": RetarderType,
    "meter": Meter,
    "depot": Depot,
    "installation": Installation,
    "retarder": Retarder,
    "calibration": Calibration,
}
LOOKUPS = {
    "retarder_type": "installation__retarder__retarder_type__uuid",
    "revision": "rating_revision__number",
    "depot": "depot__uuid",
    "installation": "installation__uuid",
    "retarder": "installation__retarder__uuid",
}
Selection = Mapping[str, Any]


def chosen_inspections(organisation: Organisation, selection: Selection) -> OrganisationQuerySet[Inspection]:
    """Return the checks of a choice; an empty choice is every check, replaced ones included, for they are evidence."""
    rows = Inspection.objects.of(organisation)
    for name, lookup in LOOKUPS.items():
        if name in selection:
            rows = rows.filter(**{lookup: selection[name]})
    if "meter" in selection:
        rows = rows.filter(Q(ammeter__uuid=selection["meter"]) | Q(voltmeter__uuid=selection["meter"]))
    if "calibration" in selection:
        calibration = Calibration.objects.of(organisation).get(uuid=selection["calibration"])
        rows = rows.filter(pk__in=looked_back_on(calibration).values("pk"))
    if "since" in selection:
        rows = rows.filter(performed_on__gte=dt.date.fromisoformat(selection["since"]))
    if "until" in selection:
        rows = rows.filter(performed_on__lte=dt.date.fromisoformat(selection["until"]))
    return rows


def to_be_judged(organisation: Organisation, selection: Selection, terms: Terms) -> OrganisationQuerySet[Inspection]:
    """Return the checks of a choice; of those that a calibration doubts, what stands on its error already is done."""
    rows = chosen_inspections(organisation, selection)
    if "calibration" not in selection or not terms.only_correct:
        return rows
    return rows.exclude(Exists(_newest_judgement().filter(**_holds(terms.corrections))))


def _newest_judgement() -> OrganisationQuerySet[Judgement]:
    later = Judgement.objects.filter(inspection=OuterRef("inspection"), number__gt=OuterRef("number"))
    return Judgement.objects.filter(~Exists(later), inspection=OuterRef("pk"))


def _holds(corrections: Mapping[str, str]) -> dict[str, str]:
    return {f"corrections__{key}": value for key, value in corrections.items()}
