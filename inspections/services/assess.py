"""Judge readings without storing anything."""

import dataclasses
from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.errors import Fault, Refused
from accounts.roles import Ability
from calc import evidence as calc
from calc.preview import preview
from fleet.models import Retarder
from inspections.documents import Document
from inspections.evidence import evidence_of, meter_document, meter_of, rating_of, relay_box_document, rule_of
from inspections.evidence_circuit import installation_document
from inspections.experience import confirmed_counts
from inspections.limits import limits_document, limits_in_force, unit_document
from inspections.models import Meter
from inspections.own_history import OwnHistories, own_history_document
from inspections.queries import installation_by_id, meters_by_id, rating_on_file
from inspections.rules import coverage_faults, reading_faults
from inspections.services.judging import Result, judged

METER_KINDS = ("ammeter", "voltmeter")


def assess(actor: Actor, document: Document) -> Result:
    """Return the judgement of readings held against an inline rating or an installation's rating on file."""
    actor.require(Ability.READ)
    complete, rating = _with_installation(actor, dict(document))
    complete |= resolved_meters(actor, complete)
    faults = reading_faults(complete, stages=rating.stages, ammeter=meter_of(complete["ammeter"]))
    # An assessment may be partial: only what is named twice over is wrong with its coverage.
    if faults := faults + coverage_faults(complete, ()):
        raise Refused(*faults)
    rule, probability = rule_of(complete, actor.organisation)
    evidence = evidence_of(complete, rating=rating, decision_rule=rule, max_false_accept_probability=probability)
    return judged(evidence, rank="always", confirmed_counts=confirmed_counts(actor.organisation))


def expect(actor: Actor, document: Document) -> Result:
    """Return what to expect of a check before it: no reading is looked at, and nothing is kept."""
    evidence = evidence_before(actor, document)
    supply_voltage_v = document.get("supply_voltage_v")
    expected = preview(evidence, None if supply_voltage_v is None else float(supply_voltage_v))
    return {**dataclasses.asdict(expected), "decision_rule": evidence.decision_rule}


def evidence_before(actor: Actor, document: Document) -> calc.Evidence:
    """Return what is known of a check before any reading is taken."""
    actor.require(Ability.READ)
    complete, rating = _with_installation(actor, {**document, "stage_readings": []})
    complete |= resolved_meters(actor, complete)
    rule, probability = rule_of(complete, actor.organisation)
    return evidence_of(complete, rating=rating, decision_rule=rule, max_false_accept_probability=probability)


def _with_installation(actor: Actor, document: dict[str, Any]) -> tuple[dict[str, Any], calc.Rating]:
    if document.get("installation") is None:
        rating: calc.Rating = document["rating"]
        return document | _own(actor, document, rating), rating
    installation = installation_by_id(actor.organisation, document["installation"])
    if installation is None:
        raise Refused(unknown_id(("installation",), document["installation"]))
    document.setdefault("relay_box", relay_box_document(installation.relay_box_type))
    document = installation_document(installation) | document
    revision = rating_on_file(installation)
    document |= unit_document(document, revision, installation.vehicle)
    rating = rating_of(revision)
    document["own_history"] = _own_history(installation.retarder, rating)
    return document | _own(actor, document, rating), rating


def _own_history(unit: Retarder, rating: calc.Rating) -> list[dict[str, Any]] | None:
    if rating.identified:
        return None
    return own_history_document(OwnHistories.of({unit.pk: rating}).baseline(unit.pk))


def _own(actor: Actor, document: Document, rating: calc.Rating) -> dict[str, Any]:
    return limits_document(limits_in_force(actor.organisation), document, rating.system_voltage_v)


def resolved_meters(actor: Actor, document: Document) -> dict[str, Any]:
    """Return both meters' figures, those given by id taken from the file; refuse unknown ids and exchanged kinds."""
    named = [document[kind] for kind in METER_KINDS if not isinstance(document[kind], dict)]
    return meter_figures(document, meters_by_id(actor.organisation, named) if named else {})


def meter_figures(document: Document, on_file: Mapping[UUID, Meter]) -> dict[str, Any]:
    """Return both meters' figures, those given by id taken from the rows that were looked up."""
    figures: dict[str, Any] = {}
    faults = []
    for kind in METER_KINDS:
        given = document[kind]
        if isinstance(given, dict):
            figures[kind] = given
        elif fault := _meter_fault(kind, given, on_file.get(given)):
            faults.append(fault)
        else:
            figures[kind] = meter_document(on_file[given])
    if faults:
        raise Refused(*faults)
    return figures


def unknown_id(path: tuple[str | int, ...], value: Any) -> Fault:
    """Return the one answer for an id that does not exist and for one of another organisation."""
    return Fault(path, "not_found", _("Nothing here has the id %(id)s.") % {"id": value})


def _meter_fault(kind: str, given: Any, meter: Meter | None) -> Fault | None:
    if meter is None:
        return unknown_id((kind,), given)
    if meter.kind != kind:
        detail = _("%(id)s is of kind %(found)s; allowed is %(kind)s.")
        return Fault((kind,), "wrong_kind", detail % {"id": given, "found": meter.kind, "kind": kind})
    return None
