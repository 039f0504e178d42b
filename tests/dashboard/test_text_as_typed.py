"""What people type is stored as typed and shown as text, never as markup."""

import pytest

from accounts.roles import Role
from fleet.models import Vehicle
from inspections.models import Inspection
from tests.builders import Workshop
from tests.dashboard.taking import Taker
from tests.inspections.visits import recorded

TYPED = "<b>coil</b> <script>alert(1)</script>"
SHOWN = "&lt;b&gt;coil&lt;/b&gt; &lt;script&gt;alert(1)&lt;/script&gt;"


@pytest.fixture
def typed(workshop: Workshop) -> Inspection:
    """Return a check with markup in its notes, of a vehicle with markup for its name."""
    Vehicle.objects.filter(pk=workshop.installation.vehicle_id).update(fleet_number=TYPED)
    return recorded(workshop, notes=TYPED).inspection


@pytest.mark.parametrize("page", ["checks/{inspection}/working/", "checks/{inspection}/", "vehicles/{vehicle}/"])
def test_markup_is_shown_literally(workshop: Workshop, typed: Inspection, page: str) -> None:
    address = page.format(inspection=typed.uuid, vehicle=workshop.installation.vehicle.uuid)
    answer = Taker(workshop, Role.VIEWER).get(address)
    assert answer.status_code == 200
    text = answer.content.decode()
    assert SHOWN in text
    assert TYPED not in text
    assert "<b>coil" not in text


def test_it_is_stored_as_typed(typed: Inspection) -> None:
    typed.refresh_from_db()
    assert typed.evidence["notes"] == TYPED
