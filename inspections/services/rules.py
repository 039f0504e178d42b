"""Change how the organisation judges: what is given, together or not at all, the rest as it is."""

import re
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import count
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.errors import Fault, Refused
from accounts.models import Organisation
from accounts.roles import Ability
from inspections.limits import OwnLimits, limits_in_force
from inspections.services.limits import set_limits, set_rule
from inspections.survey_items import BUILT_IN, CONTROL, MECHANICAL, Item

NUMBERS = ("temperature_bounds_c", "limits")
RULE = ("decision_rule", "max_false_accept_probability", "calibration_required")
_OWN = re.compile(r"own_(\d+)")
Changes = Mapping[str, Any]


@transaction.atomic
def change_rules(actor: Actor, changes: Changes) -> None:
    """Set rule, calibration policy, bounds, limits and lists as far as they are given, for the checks to come.

    A list is given whole: each item by its code, a new one without, which is numbered here.  The limits of a system
    are given whole, and those of the other stay.
    """
    actor.require(Ability.MANAGE)
    organisation = Organisation.objects.select_for_update(no_key=True).get(pk=actor.organisation.pk)
    own = limits_in_force(organisation)
    limits = {name: changes[name] for name in NUMBERS if name in changes} | _lists(own, changes)
    if "limits" in limits:
        limits["limits"] = _on_file(own) | limits["limits"]
    if limits:
        set_limits(actor, opened=own.number, **limits)
    if any(name in changes for name in RULE):
        set_rule(actor, **_whole_rule(organisation, changes))


def _whole_rule(organisation: Organisation, changes: Changes) -> dict[str, Any]:
    rule = {name: changes.get(name, getattr(organisation, name)) for name in RULE}
    if rule["decision_rule"] != "max_false_accept" and "max_false_accept_probability" not in changes:
        rule["max_false_accept_probability"] = None
    return rule


def _on_file(own: OwnLimits) -> dict[str, dict[str, Decimal]]:
    return {system: {name: Decimal(kept) for name, kept in limits.items()} for system, limits in own.limits.items()}


def _lists(own: OwnLimits, changes: Changes) -> dict[str, list[Item]]:
    now = {CONTROL: own.control_items, MECHANICAL: own.mechanical_items}
    given = {kind: changes[f"{kind}_items"] for kind in now if f"{kind}_items" in changes}
    if faults := [fault for kind, items in given.items() for fault in _list_faults(kind, items, now[kind])]:
        raise Refused(*faults)
    # Both lists count together, and a number is never used again: stored evidence names an item by it.
    codes = [item.code for items in now.values() for item in items]
    numbers = count(max((int(found[1]) for code in codes if (found := _OWN.fullmatch(code))), default=0) + 1)
    return {
        f"{kind}_items": [item if item.code else Item(f"own_{next(numbers)}", item.name, item.hidden) for item in items]
        for kind, items in given.items()
    }


def _list_faults(kind: str, items: Sequence[Item], now: Sequence[Item]) -> Iterator[Fault]:
    known, given = {item.code for item in now}, [item.code for item in items if item.code]
    for index, item in enumerate(items):
        path = (f"{kind}_items", index)
        if item.code and (item.code not in known or given.count(item.code) > 1):
            detail = _("%(code)s is no item of this list, or stands twice; a new item has no code.")
            yield Fault((*path, "code"), "no_such_item", detail % {"code": item.code})
        elif item.code not in BUILT_IN[kind] and not item.name.strip():
            yield Fault((*path, "name"), "required", _("An item that is not built in needs a name."))
    if missing := sorted(known - set(given)):
        detail = _("%(missing)s is missing: an item is hidden, never dropped, for stored checks name it.")
        yield Fault((f"{kind}_items",), "item_dropped", detail % {"missing": ", ".join(missing)})
