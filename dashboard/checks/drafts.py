"""Checks on the way: kept in the session of the person who takes them, so that nothing half done reaches the record."""

from collections.abc import Mapping
from typing import Any

from django.contrib.sessions.backends.base import SessionBase
from django.utils import timezone

from accounts.identity import new_id
from fleet.models import Installation
from inspections.models import Inspection

KEY = "checks"
MOST_DRAFTS = 20

Draft = dict[str, Any]
Reading = Mapping[str, Any]


def new_draft(installation: Installation, cautions: Mapping[str, Any]) -> Draft:
    """Return an empty draft; its id is the one the check will be stored under, so that sending twice stores once."""
    return {
        "id": str(new_id()),
        "organisation": installation.organisation_id,
        "installation": str(installation.uuid),
        "started_at": timezone.now().isoformat(),
        "cautions": dict(cautions),
        "readings": {},
        "not_read": {},
    }


def draft_of(inspection: Inspection) -> Draft:
    """Return a stored check as a draft of the one that is to replace it."""
    evidence = inspection.evidence
    draft = new_draft(inspection.installation, evidence.get("cautions") or {})
    main, repeats = _apart(evidence["stage_readings"])
    return draft | {
        "supersedes": str(inspection.uuid),
        "performed_at": inspection.performed_at.isoformat(),
        "ammeter": evidence["ammeter"]["id"],
        "voltmeter": evidence["voltmeter"]["id"],
        "coil_temperature_method": inspection.coil_temperature_method,
        "engine_state": inspection.engine_state,
        "purpose": inspection.purpose,
        "readings": main,
        "repeats": repeats,
        "not_read": {str(entry["stage"]): entry["reason"] for entry in evidence.get("stages_not_read") or []},
        "hours_parked": (evidence.get("temperature_inputs") or {}).get("hours_parked"),
        **{key: evidence[key] for key in KEPT_KEYS if evidence.get(key) is not None},
    }


KEPT_KEYS = [
    *("coil_temperature_c", "coil_temperature_bound_c", "rest", "notes", "retest_of", "extra_readings"),
    *("battery", "control_check", "mechanical_survey"),
]


def _apart(readings: list[Reading]) -> tuple[dict[str, Reading], list[Reading]]:
    """Return the newest reading of each state, and the earlier repeats, which go along unchanged."""
    main: dict[str, Reading] = {}
    repeats = []
    for reading in readings:
        key = reading_key(reading["energised"])
        if key in main:
            repeats.append(main[key])
        main[key] = reading
    return main, repeats


def reading_key(energised: list[int]) -> str:
    """Return what a draft and an address call the reading with these inputs on.

    >>> reading_key([1, 2])
    '1-2'
    """
    return "-".join(str(stage) for stage in sorted(energised))


class Drafts:
    """The drafts of one session in one organisation."""

    def __init__(self, session: SessionBase, organisation_id: int) -> None:
        self.session, self.organisation_id = session, organisation_id

    def find(self, draft_id: Any) -> Draft | None:
        """Return the draft, or None where this session has no such one in this organisation."""
        draft: Draft | None = self.session.get(KEY, {}).get(str(draft_id))
        return draft if draft is not None and draft["organisation"] == self.organisation_id else None

    def all(self) -> list[Draft]:
        """Return this organisation's drafts, newest first."""
        drafts = [
            draft for draft in self.session.get(KEY, {}).values() if draft["organisation"] == self.organisation_id
        ]
        return sorted(drafts, key=lambda draft: draft["started_at"], reverse=True)

    def keep(self, draft: Draft) -> None:
        """Keep the draft; of very many the oldest go."""
        drafts = {**self.session.get(KEY, {}), draft["id"]: draft}
        newest = sorted(drafts.values(), key=lambda each: each["started_at"])[-MOST_DRAFTS:]
        self.session[KEY] = {each["id"]: each for each in newest}

    def forget(self, draft_id: Any) -> None:
        """Let the draft go: it is stored, or was thrown away."""
        self.session[KEY] = {key: draft for key, draft in self.session.get(KEY, {}).items() if key != str(draft_id)}
