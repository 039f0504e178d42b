"""What the numbers of the mechanical survey are held against, type by type, as a revision of its rating."""

from collections.abc import Iterator, Mapping
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.errors import Fault, Refused
from fleet.models import RatingRevision, RetarderType
from fleet.services import revise_rating
from inspections.survey_items import NUMBERS_MM

ENDS = ("lower_limit", "upper_limit")
# What a revision says of itself and not of the type.
OF_THE_REVISION = {
    *("id", "uuid", "organisation", "created_at", "changed_at"),
    *("retarder_type", "number", "reason", "entered_by"),
}
Limits = Mapping[str, Mapping[str, Decimal | None]]


@transaction.atomic
def state_survey_limits(actor: Actor, kind: RetarderType, limits: Limits, *, reason: str) -> RatingRevision:
    """Add a revision of the type's rating with these limits, its amps as they were; the same again adds none."""
    newest = RatingRevision.objects.filter(retarder_type=kind).latest("number")
    if faults := list(_faults(limits)):
        raise Refused(*faults)
    stated = {
        code: {end: float(limit) for end in ENDS if (limit := ends.get(end)) is not None}
        for code, ends in limits.items()
    }
    stated = {code: ends for code, ends in stated.items() if ends}
    if stated == newest.survey_limits:
        return newest
    figures = {
        field.name: getattr(newest, field.name)
        for field in newest._meta.concrete_fields
        if field.name not in OF_THE_REVISION
    }
    return revise_rating(actor, kind, reason=reason, **figures | {"survey_limits": stated})


def _faults(limits: Limits) -> Iterator[Fault]:
    for code, ends in limits.items():
        low, high = ends.get("lower_limit"), ends.get("upper_limit")
        if code not in NUMBERS_MM:
            yield Fault((code,), "no_such_item", _("%(item)s has no number to be held against.") % {"item": code})
        if low is not None and high is not None and low > high:
            detail = _("%(low)s to %(high)s leaves nothing between: the lower limit comes first.")
            yield Fault((f"{code}_upper_limit",), "order", detail % {"low": low, "high": high})
