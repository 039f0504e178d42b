"""The organisation's own bounds, limits and lists, and what of them goes with the readings of a day."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import BigIntegerField

from accounts.models import Organisation
from accounts.prepared import One, Prepared
from fleet.models import RatingRevision, Vehicle
from inspections.documents import Document
from inspections.models import LimitsRevision
from inspections.survey_items import CONTROL, MECHANICAL, Item, items_of

SYSTEMS_V = (12, 24)
_NEWEST = Prepared(
    lambda organisation: LimitsRevision.objects.of(organisation).order_by("-number")[:1], One(BigIntegerField())
)


@dataclass(frozen=True, slots=True)
class OwnLimits:
    """What holds now; number 0 is a book that has set nothing."""

    number: int
    temperature_bounds_c: Mapping[str, str]
    limits: Mapping[str, Mapping[str, str]]
    control_items: tuple[Item, ...]
    mechanical_items: tuple[Item, ...]

    def bounds_c(self) -> dict[str, float]:
        """Return the usual bounds of the coil temperature that differ from the method's own. [°C]"""
        return {key: float(bound) for key, bound in self.temperature_bounds_c.items()}

    def items(self, kind: str) -> list[Item]:
        """Return a list without what is hidden."""
        every = self.control_items if kind == CONTROL else self.mechanical_items
        return [item for item in every if not item.hidden]


def newest_limits(organisation: Organisation) -> LimitsRevision | None:
    """Return the newest revision, None where the organisation has set nothing."""
    return _NEWEST.first(organisation.pk)


def limits_in_force(organisation: Organisation) -> OwnLimits:
    """Return the bounds, limits and lists that a check of now is judged with."""
    newest = newest_limits(organisation)
    if newest is None:
        return OwnLimits(0, {}, {}, items_of(CONTROL, ()), items_of(MECHANICAL, ()))
    return OwnLimits(
        newest.number,
        newest.temperature_bounds_c,
        newest.limits,
        items_of(CONTROL, newest.control_items),
        items_of(MECHANICAL, newest.mechanical_items),
    )


def limits_document(own: OwnLimits, document: Document, system_voltage_v: float) -> dict[str, Any]:
    """Return what of the organisation's own goes with readings; a limit that was sent with them comes first."""
    sent = {name: limit for name, limit in (document.get("limits") or {}).items() if limit is not None}
    on_file = own.limits.get(str(round(system_voltage_v)), {})
    limits = {**{name: Decimal(limit) for name, limit in on_file.items()}, **sent}
    if own.number == 0:
        return {"limits": limits} if limits else {}
    kept: dict[str, Any] = {
        "limits_revision": own.number,
        "limits": limits or None,
        "usual_temperature_bounds_c": dict(own.temperature_bounds_c) or None,
    }
    for kind in (CONTROL, MECHANICAL):
        kept[f"{kind}_items"] = [item.code for item in own.items(kind)]
    words = {item.code: item.name for kind in (CONTROL, MECHANICAL) for item in own.items(kind) if item.name}
    return {**kept, "item_words": words or None}


def unit_document(document: Document, revision: RatingRevision, vehicle: Vehicle) -> dict[str, Any]:
    """Return battery and survey as sent, with the alternator's rating and the type's limits where none were sent."""
    battery, survey = document.get("battery"), document.get("mechanical_survey")
    kept: dict[str, Any] = {}
    if battery and battery.get("alternator_rated_a") is None and vehicle.alternator_rated_a is not None:
        kept["battery"] = {**battery, "alternator_rated_a": Decimal(str(vehicle.alternator_rated_a))}
    if survey:
        kept["mechanical_survey"] = [_with_limits(item, revision.survey_limits or {}) for item in survey]
    return kept


def _with_limits(item: Mapping[str, Any], by_type: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    if item.get("lower_limit") is not None or item.get("upper_limit") is not None:
        return dict(item)
    stated = {name: limit for name, limit in by_type.get(item["code"], {}).items() if limit is not None}
    return {**item, **{name: Decimal(str(limit)) for name, limit in stated.items()}}
