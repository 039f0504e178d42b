"""Test meters and their stated accuracy, range by range."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.errors import Fault, Refused
from accounts.roles import Ability
from accounts.rows import change_row, store_row
from inspections.models import Meter
from inspections.models.meters import RANGE_FIGURES, validate_ranges


@transaction.atomic
def add_meter(actor: Actor, **columns: Any) -> Meter:
    """Add a clamp or voltmeter with its stated accuracy."""
    actor.require(Ability.MANAGE)
    return store_row(actor, Meter(organisation=actor.organisation, **columns | stated_accuracy(columns)))


@transaction.atomic
def change_meter(actor: Actor, meter: Meter, **columns: Any) -> Meter:
    """Change what is on file of a meter; checks that were read with it keep the figures of their day."""
    actor.require(Ability.MANAGE)
    row = Meter.objects.select_for_update(no_key=True).get(pk=meter.pk)
    if columns.keys() & {*RANGE_FIGURES, "ranges"}:
        columns |= stated_accuracy(_with_the_stored(row, columns))
    return change_row(actor, row, columns)


def _with_the_stored(row: Meter, columns: Mapping[str, Any]) -> dict[str, Any]:
    """Return the accuracy as it is to stand: ranges replace the plain figures, and what is not sent stays."""
    if columns.get("ranges"):
        return {name: columns.get(name) for name in (*RANGE_FIGURES, "ranges")}
    stored = {name: getattr(row, name) for name in (*RANGE_FIGURES, "ranges")}
    return {**stored, **{name: figure for name, figure in columns.items() if name in stored}}


def stated_accuracy(figures: Mapping[str, Any]) -> dict[str, Any]:
    """Return the accuracy columns: of ranges, the plain columns repeat the largest; raise Refused where they clash."""
    ranges = [_range(one) for one in figures.get("ranges") or []]
    try:
        validate_ranges(ranges)
    except ValidationError as error:
        raise Refused(Fault(("ranges",), error.code or "invalid", " ".join(error.messages))) from None
    plain = {name: _number(figures.get(name)) for name in RANGE_FIGURES}
    if ranges:
        _refuse_a_second_statement(plain, ranges)
        plain = dict(ranges[-1])
    elif missing := [name for name in RANGE_FIGURES[1:] if plain[name] is None]:
        raise Refused(*(Fault((name,), "required", _("Needed, unless ranges are stated instead.")) for name in missing))
    return {**plain, "ranges": ranges}


def _refuse_a_second_statement(plain: Mapping[str, float | None], ranges: Sequence[Mapping[str, float]]) -> None:
    faults = [
        Fault((name,), "stated_twice", _("The ranges state this already; leave it out, or give the largest range's."))
        for name, figure in plain.items()
        if figure is not None and figure != ranges[-1][name]
    ]
    if faults:
        raise Refused(*faults)


def _range(one: Mapping[str, Any]) -> dict[str, float]:
    return {name: float(one[name]) for name in RANGE_FIGURES if one.get(name) is not None}


def _number(value: Any) -> float | None:
    return None if value is None else float(value)
