"""Say before anything is switched on whether these meters and this coil temperature can give a clear verdict."""

from accounts.actors import Actor
from accounts.errors import Refused
from accounts.roles import Ability
from calc.preview import Preview, preview
from inspections.documents import Document
from inspections.evidence import evidence_of, rating_of, relay_box_document, rule_of
from inspections.queries import installation_by_id, rating_on_file
from inspections.services.assess import resolved_meters, unknown_id


def preview_check(actor: Actor, document: Document) -> Preview:
    """Return what each stage should draw and how clear that could be; nothing is read yet, and nothing is stored."""
    actor.require(Ability.READ)
    installation = installation_by_id(actor.organisation, document["installation"])
    if installation is None:
        raise Refused(unknown_id(("installation",), document["installation"]))
    rule, probability = rule_of(document, actor.organisation)
    complete = {
        **document,
        **resolved_meters(actor, document),
        "relay_box": relay_box_document(installation.relay_box_type),
        "stage_readings": [],
    }
    rating = rating_of(rating_on_file(installation))
    evidence = evidence_of(complete, rating=rating, decision_rule=rule, max_false_accept_probability=probability)
    # With the engine off the box sees the battery, not the regulator.
    return preview(evidence, float(rating.system_voltage_v) if document.get("engine_state") == "off" else None)
