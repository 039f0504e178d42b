"""Set how the organisation judges: its rule, its bounds and limits, its lists.  Nothing that was judged changes."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.errors import Conflict, Fault, Refused
from accounts.models import Organisation
from accounts.roles import Ability
from accounts.rows import change_row, store_row
from calc.evidence_apart import Limits
from calc.temperature import USUAL_BOUND_C
from inspections.limits import SYSTEMS_V, newest_limits
from inspections.models import LimitsRevision
from inspections.survey_items import CONTROL, MECHANICAL, Item, items_of

LIMIT_NAMES = tuple(field.name for field in fields(Limits))
# The end of a range and its beginning, by name.
PAIRS = (("supply_voltage_low_v", "supply_voltage_high_v"), ("charging_low_v", "charging_high_v"))
HIGHEST_BOUND_C = 300
LONGEST_NAME = 60
MOST_ITEMS = 50
Bounds = Mapping[str, Decimal]


@transaction.atomic
def set_rule(
    actor: Actor, *, decision_rule: str, max_false_accept_probability: float | None, calibration_required: bool
) -> Organisation:
    """Set the rule that verdicts to come are given under, and what a lapsed calibration does to them."""
    actor.require(Ability.MANAGE)
    if (decision_rule == "max_false_accept") != (max_false_accept_probability is not None):
        detail = _(
            "Goes with the rule max_false_accept, above 0 to 0.5, and with no other; here: %(value)s with %(rule)s."
        )
        shown = _("none") if max_false_accept_probability is None else max_false_accept_probability
        values = {"value": shown, "rule": decision_rule}
        raise Refused(Fault(("max_false_accept_probability",), "goes_with_its_rule", detail % values))
    row = Organisation.objects.select_for_update(no_key=True).get(pk=actor.organisation.pk)
    columns = {
        "decision_rule": decision_rule,
        "max_false_accept_probability": max_false_accept_probability,
        "calibration_required": calibration_required,
    }
    return change_row(actor, row, columns, action="set_rule")


@transaction.atomic
def set_limits(
    actor: Actor,
    *,
    opened: int,
    temperature_bounds_c: Bounds | None = None,
    limits: Mapping[str, Bounds] | None = None,
    control_items: Iterable[Item] | None = None,
    mechanical_items: Iterable[Item] | None = None,
) -> LimitsRevision | None:
    """Add a revision with what is given, the rest as it was; the same again adds none.

    `opened` is the number of the revision that the change was made on, 0 for none: raise Conflict where there is a
    newer one by now.
    """
    actor.require(Ability.MANAGE)
    newest = newest_limits(actor.organisation)
    number = 0 if newest is None else newest.number
    if opened != number:
        raise Conflict(_("The limits were changed meanwhile: look at them again before changing them."))
    if faults := [*_bound_faults(temperature_bounds_c or {}), *_limit_faults(limits or {})]:
        raise Refused(*faults)
    before = _columns(newest)
    columns = before | {
        **({} if temperature_bounds_c is None else {"temperature_bounds_c": _typed(temperature_bounds_c)}),
        **({} if limits is None else {"limits": {system: _typed(given) for system, given in limits.items() if given}}),
        **({} if control_items is None else {"control_items": _list(CONTROL, control_items)}),
        **({} if mechanical_items is None else {"mechanical_items": _list(MECHANICAL, mechanical_items)}),
    }
    if columns == before:
        return newest
    row = LimitsRevision(organisation=actor.organisation, number=number + 1, entered_by=actor.user, **columns)
    return store_row(actor, row, action="set_limits")


def _columns(newest: LimitsRevision | None) -> dict[str, Any]:
    names = ("temperature_bounds_c", "limits", "control_items", "mechanical_items")
    empty: tuple[Any, ...] = ({}, {}, [], [])
    return {name: none if newest is None else getattr(newest, name) for name, none in zip(names, empty, strict=True)}


def _typed(numbers: Bounds) -> dict[str, str]:
    return {name: f"{number:f}" for name, number in numbers.items()}


def _bound_faults(bounds: Bounds) -> Iterator[Fault]:
    for name, bound in bounds.items():
        if name not in USUAL_BOUND_C:
            yield Fault(
                ("temperature_bounds_c", name),
                "no_such_method",
                _("%(name)s is no way to know a temperature.") % {"name": name},
            )
        elif not 0 < bound <= HIGHEST_BOUND_C:
            detail = _("%(bound)s is outside the range; allowed is above 0 to 300.") % {"bound": bound}
            yield Fault(("temperature_bounds_c", name), "range", detail)


def _limit_faults(limits: Mapping[str, Bounds]) -> Iterator[Fault]:
    for system, given in limits.items():
        for name in given:
            if system not in map(str, SYSTEMS_V) or name not in LIMIT_NAMES or given[name] <= 0:
                detail = _("%(name)s of %(limit)s is no limit of a %(system)s V system; a limit is above 0.")
                values = {"name": name, "limit": given[name], "system": system}
                yield Fault(("limits", system, name), "no_such_limit", detail % values)
        for low, high in PAIRS:
            if low in given and high in given and given[low] >= given[high]:
                detail = _("%(low)s to %(high)s leaves nothing between: the lower limit comes first.")
                yield Fault(("limits", system, high), "order", detail % {"low": given[low], "high": given[high]})


def _list(kind: str, items: Iterable[Item]) -> list[dict[str, Any]]:
    chosen = list(items)
    words = [item.word.casefold() for item in chosen]
    faults = [
        Fault(
            (f"{kind}_items", index),
            "name",
            _("“%(name)s” is too long, or stands twice in the list.") % {"name": item.word},
        )
        for index, item in enumerate(chosen)
        if len(item.name) > LONGEST_NAME or words.count(item.word.casefold()) > 1
    ]
    if len(chosen) > MOST_ITEMS:
        faults.append(
            Fault((f"{kind}_items",), "max_length", _("A list has at most %(most)s items.") % {"most": MOST_ITEMS})
        )
    if faults:
        raise Refused(*faults)
    stored = [{"code": item.code, "name": item.name.strip(), "hidden": item.hidden} for item in chosen]
    untouched = [{"code": item.code, "name": "", "hidden": False} for item in items_of(kind, ())]
    # A list as it came is stored as none, so that an item that is built in later appears in it.
    return [] if stored == untouched else stored
