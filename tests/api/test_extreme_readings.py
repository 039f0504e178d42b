"""Readings at the edge of what is taken are stored like any other: they are evidence of a slip or of a broken meter."""

import itertools

import pytest

from inspections.models import Meter
from tests.api.documents import with_literal
from tests.builders import Workshop, inspection_document
from tests.conftest import Api

VOLTS = ["0", "1e-28", "1e-9", "0.001", "14", "1000000"]
AMPS = ["-0.5", "-1e-28", "0", "1e-28", "36.3", "1000000"]


@pytest.mark.parametrize(("supply_voltage_v", "current_a"), itertools.product(VOLTS, AMPS))
def test_a_reading_at_the_edge_is_judged_stored_and_read_again(
    api: Api, workshop: Workshop, supply_voltage_v: str, current_a: str
) -> None:
    Meter.objects.filter(organisation=workshop.organisation).update(range_max=None)
    document = inspection_document(workshop)
    body = with_literal(document, "#/stage_readings/0/supply_voltage_v", supply_voltage_v)
    body = body.replace(b"36.3", current_a.encode(), 1)
    stored = api.post("inspections/", body)
    assert stored.status_code == 201, stored.content
    assert api.get(f"inspections/{document['id']}/").json() == stored.json()
    trend = api.get(f"installations/{workshop.installation.uuid}/trend/")
    assert len(trend.json()["stages"]) == 4
