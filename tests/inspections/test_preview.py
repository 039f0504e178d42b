"""What is said before a check about whether it could be clear."""

import dataclasses
from typing import Any

import pytest

from accounts.errors import Refused
from accounts.roles import Role
from inspections.models import Inspection
from inspections.services.preview import preview_check
from tests import builders


def document(of: builders.Workshop, **fields: Any) -> dict[str, Any]:
    return {
        "installation": of.installation.uuid,
        "ammeter": of.ammeter.uuid,
        "voltmeter": of.voltmeter.uuid,
        "coil_temperature_method": "parked",
        "coil_temperature_c": 20.0,
        "coil_temperature_bound_c": 3.0,
        "engine_state": "idle",
        **fields,
    }


def test_good_meters_and_a_cold_coil_can_be_clear_and_nothing_is_stored(workshop: builders.Workshop) -> None:
    preview = preview_check(builders.actor(workshop.organisation, Role.VIEWER), document(workshop))
    assert [stage.can_pass for stage in preview.stages] == [True] * 4
    assert preview.stages[0].expected_current_a == pytest.approx(35.5)
    assert not Inspection.objects.exists()


def test_with_the_engine_off_the_box_is_expected_to_see_the_battery(workshop: builders.Workshop) -> None:
    actor = builders.actor(workshop.organisation)
    assert preview_check(actor, document(workshop, engine_state="off")).supply_voltage_v == 12.0
    assert preview_check(actor, document(workshop)).supply_voltage_v == 14.0


def test_a_poor_clamp_cannot_be_clear_and_what_would_do_is_said(workshop: builders.Workshop) -> None:
    poor = builders.meter(workshop.organisation, "ammeter", accuracy_percent=10.0)
    actor = builders.actor(workshop.organisation)
    preview = preview_check(actor, document(workshop, ammeter=poor.uuid))
    assert not any(stage.can_pass for stage in preview.stages)
    assert [bound.source for bound in preview.stages[0].would_do] == ["ammeter"]


def test_another_organisations_unit_or_meter_is_refused(workshop: builders.Workshop) -> None:
    stranger = builders.workshop()
    actor = builders.actor(stranger.organisation)
    with pytest.raises(Refused, match="Nothing here has the id"):
        preview_check(actor, document(workshop))
    with pytest.raises(Refused, match="Nothing here has the id"):
        preview_check(actor, document(dataclasses.replace(stranger, ammeter=workshop.ammeter)))
