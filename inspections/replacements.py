"""A check that replaces another: which one, who read the first of the chain, and what the two state differently."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from inspections.models import Inspection

Reading = Mapping[str, Any]
State = tuple[tuple[int, ...], int]
NOT_GIVEN = "–"
FIGURES = [("current_a", "A"), ("supply_voltage_v", "V"), ("seconds_on", "s")]


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that the two checks state differently, digits as typed."""

    what: str
    before: str
    after: str


def replaced_check(check: Inspection) -> Inspection | None:
    """Return the check that this one replaces, or is to replace once it is signed."""
    rows = Inspection.objects.filter(organisation=check.organisation_id).select_related(
        "recorded_by", "depot", "ammeter", "voltmeter"
    )
    if done := rows.filter(superseded_by=check).first():
        return done
    wanted = check.evidence.get("supersedes")
    return None if wanted is None else rows.filter(uuid=wanted).first()


def first_of_chain(check: Inspection) -> Inspection:
    """Return the check that was read at the vehicle, before anything was put right."""
    first = check
    while (before := replaced_check(first)) is not None:
        first = before
    return first


def changes_between(old: Inspection, new: Inspection) -> list[Change]:
    """Return what the replacement states differently: its readings, then what else bears on the verdict."""
    before, after = _statements(old), _statements(new)
    changed = (name for name in before | after if _comparable(before.get(name)) != _comparable(after.get(name)))
    return [Change(name, _shown(before.get(name)), _shown(after.get(name))) for name in changed]


def _statements(check: Inspection) -> dict[str, Any]:
    evidence = check.evidence
    rest = evidence.get("rest") or {}
    return {
        **dict(_reading_statements(evidence["stage_readings"])),
        _("All off, amps"): _quantity(rest, "current_a", "A"),
        _("All off, volts"): _quantity(rest, "supply_voltage_v", "V"),
        _("Coil temperature"): _quantity(evidence, "coil_temperature_c", "°C"),
        _("Bound of the coil temperature"): _quantity(evidence, "coil_temperature_bound_c", "°C"),
        _("Clamp"): check.ammeter.designation,
        _("Voltmeter"): check.voltmeter.designation,
    }


def _reading_statements(readings: Sequence[Reading]) -> Iterator[tuple[str, Any]]:
    for (energised, number), reading in sorted(_numbered(readings), key=lambda each: (len(each[0][0]), each[0])):
        for key, unit in FIGURES:
            yield _name(energised, number, unit), _quantity(reading, key, unit)


def _numbered(readings: Sequence[Reading]) -> Iterator[tuple[State, Reading]]:
    seen: dict[tuple[int, ...], int] = {}
    for reading in readings:
        energised = tuple(sorted(reading["energised"]))
        seen[energised] = seen.get(energised, 0) + 1
        yield (energised, seen[energised]), reading


def _name(energised: tuple[int, ...], number: int, unit: str) -> str:
    stages = ", ".join(map(str, energised))
    name = (_("Stage %(stages)s") if len(energised) == 1 else _("Stages %(stages)s together")) % {"stages": stages}
    if number > 1:
        name = _("%(name)s, reading %(number)s") % {"name": name, "number": number}
    # The amps are what a check is about; what else changed names its quantity.
    words = {"V": _("%(name)s, volts"), "s": _("%(name)s, seconds on")}
    return words[unit] % {"name": name} if unit in words else name


def _quantity(stated: Mapping[str, Any], key: str, unit: str) -> tuple[str, str] | None:
    return None if stated.get(key) is None else (str(stated[key]), unit)


def _comparable(statement: Any) -> Any:
    return Decimal(statement[0]) if isinstance(statement, tuple) else statement


def _shown(statement: Any) -> str:
    return NOT_GIVEN if statement is None else statement if isinstance(statement, str) else " ".join(statement)
