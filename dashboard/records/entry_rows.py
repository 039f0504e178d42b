"""Audit entries as a page lists them."""

import zoneinfo
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from accounts.models import AuditEntry, Depot, Organisation
from dashboard.records.action_words import ACTIONS, OBJECTS, SOURCES
from dashboard.records.changes import Change, changes_of
from dashboard.records.things import Thing, things_by_id

UTC = zoneinfo.ZoneInfo("UTC")


@dataclass(frozen=True, slots=True)
class EntryRow:
    """One entry in words."""

    entry: AuditEntry
    who: str
    door: str
    what: str
    kind: str
    thing: Thing | None
    changes: list[Change]


def entry_rows(organisation: Organisation, entries: Sequence[AuditEntry], zone: zoneinfo.ZoneInfo) -> list[EntryRow]:
    """Return the entries with what they are about and what changed; as many queries for ten as for a hundred."""
    things = things_by_id(organisation, {(entry.object_type, entry.object_id) for entry in entries})
    changes = changes_of(entries, zone)
    return [
        EntryRow(
            entry,
            who=_who(entry),
            door=str(SOURCES.get(entry.source, entry.source)),
            what=str(ACTIONS.get(entry.action, entry.action)),
            kind=str(OBJECTS.get(entry.object_type, entry.object_type)),
            thing=things.get((entry.object_type, entry.object_id)),
            changes=changes[entry.sequence],
        )
        for entry in entries
    ]


def _who(entry: AuditEntry) -> str:
    who = str(entry.actor) if entry.actor is not None else _("the service itself")
    if entry.token:
        who = _("%(person)s, by the token “%(token)s”") % {"person": who, "token": entry.token}
    if entry.on_behalf_of is not None:
        who = _("%(person)s for %(other)s") % {"person": who, "other": entry.on_behalf_of}
    return who


def zone_of(organisation: Organisation) -> zoneinfo.ZoneInfo:
    """Return the zone of the organisation's depots where all share one, else UTC."""
    zones = list(Depot.objects.of(organisation).values_list("time_zone", flat=True).distinct()[:2])
    return zoneinfo.ZoneInfo(zones[0]) if len(zones) == 1 else UTC
