"""What an audit entry says has changed, in words: what it was, what it is, and names in place of keys."""

import datetime as dt
import zoneinfo
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.db import models
from django.utils import timezone
from django.utils.dateparse import parse_date, parse_datetime
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from accounts.models import AuditEntry
from accounts.tracking import tracked_models
from dashboard.records.column_words import COLUMNS
from dashboard.records.things import names_by_key

NOTHING = "–"
LONGEST_SHOWN = 300
# What says nothing to a reader of differences; the record of a check shows it.
ON_THE_RECORD = {"content_hash", "sent_hash"}

Names = Mapping[tuple[type[models.Model], int], str]


@dataclass(frozen=True, slots=True)
class Change:
    """One column: what it was (None where the entry tells of a new row), and what it is."""

    what: str
    before: str | None
    after: str


def changes_of(entries: Iterable[AuditEntry], zone: zoneinfo.ZoneInfo) -> dict[int, list[Change]]:
    """Return the changes of each entry by its sequence; keys become names in one query a table."""
    entries = list(entries)
    names = names_by_key(_keys(entries))
    return {entry.sequence: list(_changes(entry, names, zone)) for entry in entries}


def _changes(entry: AuditEntry, names: Names, zone: zoneinfo.ZoneInfo) -> Iterable[Change]:
    before, after = entry.before or {}, entry.after or {}
    fields = _fields(entry.object_type)
    for name in [*after, *(name for name in before if name not in after)]:
        if name in ON_THE_RECORD:
            continue
        field = fields.get(name)
        was = _shown(before[name], field, names, zone) if name in before else None
        now = _shown(after.get(name), field, names, zone)
        if was is None and now == NOTHING:
            # A new row's empty columns are no news.
            continue
        yield Change(_word(name, field), was, now)


@cache
def _fields(object_type: str) -> Mapping[str, Any]:
    model = tracked_models().get(object_type)
    return {} if model is None else {field.attname: field for field in model._meta.concrete_fields}


def _word(name: str, field: Any) -> str:
    word = COLUMNS.get(field.name if field is not None else name)
    return name if word is None else str(word)


def _keys(entries: Iterable[AuditEntry]) -> dict[type[models.Model], set[int]]:
    keys: dict[type[models.Model], set[int]] = defaultdict(set)
    for entry in entries:
        for name, value in [*(entry.before or {}).items(), *(entry.after or {}).items()]:
            field = _fields(entry.object_type).get(name)
            if field is not None and field.remote_field and isinstance(value, int):
                keys[field.remote_field.model].add(value)
    return keys


def _shown(value: Any, field: Any, names: Names, zone: zoneinfo.ZoneInfo) -> str:
    if value is None or value in ("", [], {}):
        return NOTHING
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if field is not None and field.remote_field and isinstance(value, int):
        return names.get((field.remote_field.model, value), _("no longer there"))
    if field is not None and field.choices:
        return str(dict(field.flatchoices).get(value, value))
    if isinstance(field, models.DateField) and isinstance(value, str):
        return _moment(value, zone)
    text = _text(value)
    return text if len(text) <= LONGEST_SHOWN else text[:LONGEST_SHOWN] + "…"


def _moment(value: str, zone: zoneinfo.ZoneInfo) -> str:
    at = parse_datetime(value) if "T" in value else None
    if at is not None:
        return date_format(timezone.localtime(at, zone), "j M Y H:i")
    on: dt.date | None = parse_date(value)
    return value if on is None else date_format(on, "j M Y")


def _text(value: Any) -> str:
    if isinstance(value, Mapping):
        return "; ".join(f"{key}: {_text(item)}" for key, item in value.items() if item not in (None, "", [], {}))
    if isinstance(value, list):
        return ", ".join(_text(item) for item in value)
    return _plain_number(value) if isinstance(value, str) else str(value)


def _plain_number(text: str) -> str:
    """Return a number without the .0 that its storage gave it."""
    whole, dot, rest = text.partition(".")
    return whole if dot and rest == "0" and whole.lstrip("-").isdigit() else text
