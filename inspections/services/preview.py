"""Say before anything is switched on whether these meters and this coil temperature can give a clear verdict."""

from accounts.actors import Actor
from calc.preview import Preview, preview
from inspections.documents import Document
from inspections.services.assess import evidence_before


def preview_check(actor: Actor, document: Document) -> Preview:
    """Return what each stage should draw and how clear that could be; nothing is read yet, and nothing is stored."""
    evidence = evidence_before(actor, document)
    # With the engine off the box sees the battery, not the regulator.
    return preview(evidence, evidence.rating.system_voltage_v if document.get("engine_state") == "off" else None)
