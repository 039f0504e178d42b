"""The unit a check is about, with what every step needs of it."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.db.models import F, Q, QuerySet

from accounts.actors import Actor
from accounts.models import Organisation
from calc.evidence import Rating, RelayBox
from calc.temperature import ASSUMED_TEMPERATURE_C
from dashboard.checks.drafts import Draft
from fleet.models import Installation
from fleet.vin import normalised_vin
from inspections.evidence import rating_of, relay_box_document, relay_box_of
from inspections.expectation import (
    Expected,
    expected_by_other_stages,
    expected_by_own_history,
    expected_lamps,
    expected_outputs,
    expected_reading,
)
from inspections.history import recent_checks
from inspections.models import Defect, Inspection, Meter
from inspections.own_history import own_mean_conductances
from inspections.queries import installation_by_id, rating_on_file
from schedules.queries import installations_in_service

KINDS = ["ammeter", "voltmeter"]


@dataclass(frozen=True, slots=True)
class Unit:
    """An installation, the rating its readings are held against, and its relay box.

    Without a rating it is held against what its own stages conducted.
    """

    installation: Installation
    rating: Rating
    relay_box: RelayBox
    own_conductances_s: Mapping[int, float] = field(default_factory=dict)

    @property
    def stages(self) -> range:
        """Return the stages, counted from one."""
        return range(1, self.rating.stages + 1)

    @property
    def name(self) -> str:
        """Return what people call it: the vehicle's fleet number."""
        return self.installation.vehicle.fleet_number

    def earlier_checks(self, draft: Draft) -> list[Inspection]:
        """Return the checks before this one, newest first; for a replacement, those before the check it replaces."""
        at = draft["performed_at"] if draft.get("supersedes") else None
        return recent_checks(self.installation, before=None if at is None else dt.datetime.fromisoformat(at))

    def expected(self, draft: Draft, energised: list[int], supply_voltage_v: Any) -> Expected | None:
        """Return what a healthy unit would draw, None where nobody knows."""
        coil_c = draft.get("coil_temperature_c")
        at = {
            "supply_voltage_v": float(supply_voltage_v),
            "coil_temperature_c": ASSUMED_TEMPERATURE_C if coil_c in (None, "") else float(coil_c),
        }
        if self.rating.identified:
            return expected_reading(self.rating, energised, **at)
        by_history = expected_by_own_history(self.own_conductances_s, energised, **at)
        return by_history or expected_by_other_stages(
            conductances_read(draft), energised, supply_voltage_v=at["supply_voltage_v"]
        )

    def rest_voltage_v(self, draft: Draft) -> float:
        """Return the volts with everything off, or the system's where they were not read."""
        rest = draft.get("rest")
        return float(rest["supply_voltage_v"] if rest else self.rating.system_voltage_v)

    def outputs(self, energised: list[int]) -> list[int]:
        """Return the outputs that should be live."""
        return expected_outputs(self.relay_box, energised)

    def lamps(self, energised: list[int]) -> list[int] | None:
        """Return the lamps that should be lit, None where they say nothing."""
        return expected_lamps(self.relay_box, energised, self.rating.stages)


def conductances_read(draft: Draft) -> dict[int, float]:
    """Return what each stage read alone conducts, as warm as it is. [S]"""
    alone = [reading for reading in draft["readings"].values() if len(reading["energised"]) == 1]
    return {
        reading["stage"]: float(reading["current_a"]) / float(reading["supply_voltage_v"])
        for reading in alone
        if float(reading["supply_voltage_v"]) > 0
    }


def unit_by_id(organisation: Organisation, installation_id: UUID | str) -> Unit | None:
    """Return the unit, or None where the organisation has no such installation."""
    installation = installation_by_id(organisation, UUID(str(installation_id)))
    if installation is None:
        return None
    box = relay_box_of(relay_box_document(installation.relay_box_type))
    rating = rating_of(rating_on_file(installation))
    own_s = {} if rating.identified else own_mean_conductances(installation.retarder_id, rating)
    return Unit(installation, rating, box, own_s)


def units_to_check(organisation: Organisation, wanted: str = "") -> QuerySet[Installation]:
    """Return the units in service, the most urgent first; with a text, those that it names."""
    units = installations_in_service(organisation).select_related(
        "vehicle__depot", "retarder__retarder_type", "due_date__plan", "due_date__depot"
    )
    if wanted:
        named = Q(vehicle__fleet_number__icontains=wanted) | Q(vehicle__registration__icontains=wanted)
        numbers = Q(vehicle__vin__icontains=normalised_vin(wanted)) | Q(retarder__serial_number__icontains=wanted)
        units = units.filter(named | numbers)
    return units.order_by(F("due_date__sorts_on").asc(nulls_last=True), "vehicle__fleet_number", "pk")


def meters_in_use(organisation: Organisation) -> QuerySet[Meter]:
    """Return the organisation's meters that are not retired."""
    return Meter.objects.of(organisation).filter(retired_on__isnull=True).order_by("designation")


def meters_used_last(actor: Actor) -> dict[str, str]:
    """Return the test meters of the person's last check, which are the first choice for the next."""
    mine = Inspection.objects.of(actor.organisation).filter(recorded_by=actor.user)
    last = mine.select_related("ammeter", "voltmeter").order_by("-pk").first()
    return {} if last is None else {kind: str(getattr(last, kind).uuid) for kind in KINDS}


def open_defects(installation: Installation) -> QuerySet[Defect]:
    """Return the unit's defects that a retest could close."""
    rows = Defect.objects.of(installation.organisation_id)
    return rows.filter(installation=installation, closed_at__isnull=True).order_by("stage", "pk")
