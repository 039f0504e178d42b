"""What a first check names that the book has already: the same figures are the same thing, other figures refused."""

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.errors import Fault, Refused
from fleet.models import RatingRevision, RetarderType
from fleet.services import add_retarder_type
from inspections.models import Meter
from inspections.services.meters import add_meter

# No plate tells these two, and no verdict rests on them.
NOT_ON_THE_PLATE = {"sources", "coils_in_series", "coils_in_parallel"}


def filed_meter(actor: Actor, *, kind: str, designation: str, **figures: Any) -> Meter:
    """Return the meter of that name, added where the book has none."""
    known = Meter.objects.of(actor.organisation).filter(designation=designation).first()
    if known is None:
        return add_meter(actor, kind=kind, designation=designation, **figures)
    if known.kind != kind or known.retired_on is not None or not _same(known, figures):
        raise _taken(designation)
    return known


def filed_retarder_type(actor: Actor, *, designation: str, **figures: Any) -> RetarderType:
    """Return the retarder type of that name, added with its rating where the book has none."""
    known = RetarderType.objects.of(actor.organisation).filter(designation=designation).first()
    if known is None:
        return add_retarder_type(actor, designation=designation, **figures)
    rating = RatingRevision.objects.filter(retarder_type=known).latest("number")
    told = {name: value for name, value in figures.items() if name not in NOT_ON_THE_PLATE}
    if not _same(rating, told):
        raise _taken(designation)
    return known


def _same(row: object, figures: Mapping[str, Any]) -> bool:
    return all(getattr(row, name) == value for name, value in figures.items())


def _taken(designation: str) -> Refused:
    detail = _("%(name)s is already in this book with other figures: give this one another name.")
    return Refused(Fault(("designation",), "taken", detail % {"name": designation}))
