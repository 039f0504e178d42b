"""Units whose type nobody can read: put on file with what was counted on them, and identified later."""

from collections.abc import Iterator

from django.db import transaction
from django.db.models import OuterRef, Q, QuerySet, Subquery
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.errors import Fault, Refused
from accounts.identity import OrganisationRow
from accounts.roles import Ability
from accounts.rows import change_row, store_row
from fleet.models import RatingRevision, Retarder, RetarderType

FACTS = ("coils_counted", "leads_counted", "air_gap_mm", "note")


@transaction.atomic
def add_unidentified_retarder(
    actor: Actor, *, serial_number: str, stages: int, system_voltage_v: int, **facts: int | float | str | None
) -> Retarder:
    """Add a unit under a type of its own, with a revision that says how many stages it has and holds no figure."""
    actor.require(Ability.MANAGE)
    kind = RetarderType(
        organisation=actor.organisation,
        # A name on file is the same in every language that it is read in.
        designation=f"Not identified: {serial_number}",
        stages=stages,
        identified=False,
        **facts,
    )
    if RetarderType.objects.of(actor.organisation).filter(designation=kind.designation).exists():
        detail = _("“%(name)s” is on file already: give this unit another mark.")
        raise Refused(Fault(("serial_number",), "taken", detail % {"name": kind.designation}))
    store_row(actor, kind)
    revision = RatingRevision(
        organisation=actor.organisation,
        retarder_type=kind,
        number=1,
        rated_currents_a=[None] * stages,
        reference_voltage_basis="not_identified",
        system_voltage_v=system_voltage_v,
        entered_by=actor.user,
    )
    store_row(actor, revision)
    unit = Retarder(organisation=actor.organisation, retarder_type=kind, found_as=kind, serial_number=serial_number)
    return store_row(actor, unit)


def types_it_may_be(unit: Retarder) -> QuerySet[RetarderType]:
    """Return the types of a unit's stages and volts and what it was put on file as, but not what it is now."""
    rows = RetarderType.objects.of(unit.organisation_id).filter(stages=unit.retarder_type.stages)
    newest = RatingRevision.objects.filter(retarder_type=OuterRef("pk")).order_by("-number")
    rated = rows.annotate(volts=Subquery(newest.values("system_voltage_v")[:1]))
    fitting = rated.filter(volts=_system_voltage_v(unit.retarder_type))
    return fitting.filter(Q(identified=True) | Q(pk=unit.found_as_id)).exclude(pk=unit.retarder_type_id)


@transaction.atomic
def move_to_type(actor: Actor, unit: Retarder, kind: RetarderType, *, reason: str) -> Retarder:
    """Say of which type a unit is; whoever said so wrongly says another, or that it is not identified after all.

    The unit stays locked until the transaction ends.
    """
    actor.require(Ability.MANAGE)
    locked = Retarder.objects.of(actor.organisation).select_for_update(no_key=True).filter(pk=unit.pk).first()
    if locked is None:
        raise Refused(_unknown("retarder", unit))
    if faults := _faults(locked, kind, reason):
        raise Refused(*faults)
    return change_row(actor, locked, {"retarder_type": kind}, action="identify", reason=reason)


def _faults(unit: Retarder, kind: RetarderType, reason: str) -> list[Fault]:
    if kind.organisation_id != unit.organisation_id:
        return [_unknown("retarder_type", kind)]
    without_reason = Fault(("reason",), "required", _("A type is named with a reason."))
    return [*([] if reason.strip() else [without_reason]), *_misfits(unit, kind)]


def _misfits(unit: Retarder, kind: RetarderType) -> Iterator[Fault]:
    path, named = ("retarder_type",), {"type": kind.designation, "serial": unit.serial_number}
    if kind.pk == unit.retarder_type_id:
        yield Fault(path, "unchanged", _("The unit is on file as %(type)s already.") % named)
        return
    if kind.stages != unit.retarder_type.stages:
        detail = _("%(type)s has %(stages)s stages; allowed is a type of %(allowed)s, as this unit has.")
        stages = {"stages": kind.stages, "allowed": unit.retarder_type.stages}
        yield Fault(path, "other_stages", detail % (named | stages))
    if not kind.identified and kind.pk != unit.found_as_id:
        yield Fault(path, "not_identified", _("%(type)s is no type: it is another unit's.") % named)
        return
    yield from _other_volts(unit, kind)
    if Retarder.objects.filter(retarder_type=kind, serial_number=unit.serial_number).exists():
        detail = _("A %(type)s with the serial number %(serial)s is on file already: this unit cannot be another.")
        yield Fault(path, "taken", detail % named)


def _other_volts(unit: Retarder, kind: RetarderType) -> Iterator[Fault]:
    volts, allowed = _system_voltage_v(kind), _system_voltage_v(unit.retarder_type)
    if volts is None:
        detail = _("%(type)s has no rating to judge by.") % {"type": kind.designation}
        yield Fault(("retarder_type",), "no_rating", detail)
    elif volts != allowed:
        detail = _("%(type)s is of %(volts)s V; allowed is a type of %(allowed)s V, as this unit has.")
        shown = {"type": kind.designation, "volts": volts, "allowed": allowed}
        yield Fault(("retarder_type",), "other_voltage", detail % shown)


def _system_voltage_v(kind: RetarderType) -> int | None:
    newest = RatingRevision.objects.filter(retarder_type=kind).order_by("-number")
    return newest.values_list("system_voltage_v", flat=True).first()


def _unknown(name: str, row: OrganisationRow) -> Fault:
    return Fault((name,), "not_found", _("Nothing here has the id %(id)s.") % {"id": row.uuid})
