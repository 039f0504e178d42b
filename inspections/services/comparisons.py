"""Two meters of one kind on one quantity: do they agree, given what each states of its accuracy?"""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from math import isfinite
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.errors import Conflict, Fault, Refused
from accounts.roles import Ability
from accounts.rows import store_row
from calc.evidence import Meter as MeterFigures
from calc.instruments import LARGEST_AGREEING, PairCompared, largest_normalised_error, pair_compared
from inspections.documents import content_hash
from inspections.evidence import meter_document, meter_of
from inspections.models import Meter, MeterComparison
from inspections.queries import meters_by_id
from inspections.services.assess import unknown_id

Readings = Sequence[Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class Compared:
    """How two meters compare: each pair of readings, the largest E_n, and whether they agree."""

    pairs: tuple[PairCompared, ...]
    normalised_error: float
    agree: bool


def compare_meters(
    actor: Actor, *, first: UUID | Mapping[str, Any], second: UUID | Mapping[str, Any], readings: Readings
) -> Compared:
    """Return how two meters, on file or stated here, compare; nothing is kept."""
    actor.require(Ability.READ)
    on_file = _on_file(actor, {"first": first, "second": second})
    stated = {name: given for name, given in (("first", first), ("second", second)) if isinstance(given, Mapping)}
    documents = {name: meter_document(meter) for name, meter in on_file.items()} | stated
    return _compared({name: meter_of(document) for name, document in documents.items()}, readings)


@transaction.atomic
def record_comparison(
    actor: Actor,
    *,
    first: UUID,
    second: UUID,
    compared_on: dt.date,
    readings: Readings,
    note: str = "",
    uuid: UUID | None = None,
) -> MeterComparison:
    """Keep a comparison of two meters on file; the same id with the same content again adds none."""
    actor.require(Ability.CAPTURE)
    digest = content_hash(
        {"first": first, "second": second, "compared_on": compared_on, "readings": list(readings), "note": note}
    )
    known = None if uuid is None else MeterComparison.objects.of(actor.organisation).filter(uuid=uuid).first()
    if known is not None and known.content_hash != digest:
        raise Conflict(_("The comparison %(id)s is stored with other content.") % {"id": uuid})
    if known is not None:
        return known
    columns = {"compared_on": compared_on, "note": note, "content_hash": digest, **({"uuid": uuid} if uuid else {})}
    return _stored(actor, _on_file(actor, {"first": first, "second": second}), readings, columns)


def _stored(actor: Actor, meters: Mapping[str, Meter], readings: Readings, columns: dict[str, Any]) -> MeterComparison:
    documents = {name: meter_document(meter) for name, meter in meters.items()}
    compared = _compared({name: meter_of(document) for name, document in documents.items()}, readings)
    row = MeterComparison(
        organisation=actor.organisation,
        **meters,
        pairs=[_pair_document(pair, one) for pair, one in zip(compared.pairs, readings, strict=True)],
        figures={name: {**document, "id": str(document["id"])} for name, document in documents.items()},
        normalised_error=compared.normalised_error,
        agree=compared.agree,
        recorded_by=actor.user,
        **columns,
    )
    return store_row(actor, row, action="compare")


def _pair_document(pair: PairCompared, typed: Mapping[str, Any]) -> dict[str, Any]:
    # Floats enter the audit stream as text; the readings keep their digits as typed.
    worked_out = {name: value if isinstance(value, bool) else repr(value) for name, value in asdict(pair).items()}
    return {**worked_out, "first": str(typed["first"]), "second": str(typed["second"])}


def _compared(figures: Mapping[str, MeterFigures], readings: Readings) -> Compared:
    pairs = tuple(
        pair_compared(figures["first"], figures["second"], float(one["first"]), float(one["second"]))
        for one in readings
    )
    faults = [
        Fault(("readings", index), "over_range", _("A reading is above the meter's range: it says nothing."))
        for index, pair in enumerate(pairs)
        if pair.over_range
    ]
    error = largest_normalised_error(pairs)
    if not faults and (error is None or not isfinite(error)):
        faults = [Fault(("readings",), "no_accuracy", _("Neither meter states an accuracy to compare by."))]
    if faults or error is None:
        raise Refused(*faults)
    return Compared(pairs, error, abs(error) <= LARGEST_AGREEING)


def _on_file(actor: Actor, named: Mapping[str, UUID | Mapping[str, Any]]) -> dict[str, Meter]:
    ids = {name: given for name, given in named.items() if isinstance(given, UUID)}
    found = meters_by_id(actor.organisation, ids.values())
    if unknown := [unknown_id((name,), uuid) for name, uuid in ids.items() if uuid not in found]:
        raise Refused(*unknown)
    meters = {name: found[uuid] for name, uuid in ids.items()}
    if len(meters) > 1 and meters["first"].pk == meters["second"].pk:
        raise Refused(Fault(("second",), "same_meter", _("A meter is compared with another one.")))
    if len({meter.kind for meter in meters.values()}) > 1:
        detail = _("One is an ammeter and the other a voltmeter; allowed are two of a kind.")
        raise Refused(Fault(("second",), "wrong_kind", detail))
    return meters
