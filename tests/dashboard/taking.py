"""A person taking a check through the pages, without a browser: each step posts what its form holds."""

import re
from typing import Any

from django.test import Client

from accounts.models import Organisation
from accounts.roles import Role
from inspections.cautions import MADE_SAFE, PUT_BACK
from inspections.models import Inspection
from tests import builders

SAFE = dict.fromkeys((code for code, _label in MADE_SAFE), "on") | {"air_suspension": "none", "cab": "empty"}
ALL_PUT_BACK = dict.fromkeys((code for code, _label in PUT_BACK), "on")
CONDITIONS = {"coil_temperature_method": "parked", "coil_temperature_c": "20", "engine_state": "idle"}
HEALTHY = {"supply_voltage_v": "14,0", "current_a": "36.3", "seen": "as_expected", "seconds_on": "6.4"}


class Taker:
    """A member with a browser session in one workshop."""

    def __init__(
        self, workshop: builders.Workshop, role: Role = Role.TECHNICIAN, of: Organisation | None = None
    ) -> None:
        """Sign a new member in."""
        self.workshop = workshop
        self.organisation = of or workshop.organisation
        self.member = builders.member(self.organisation, role)
        self.client = Client()
        self.client.force_login(self.member.user)
        self.at = ""

    def address(self, path: str) -> str:
        """Return an address of the member's book."""
        return f"/{self.organisation.slug}/{path}"

    def get(self, path: str) -> Any:
        """Open a page."""
        return self.client.get(self.address(path))

    def post(self, path: str, **data: Any) -> Any:
        """Send a form and remember where it led."""
        answer = self.client.post(self.address(path), data)
        if answer.status_code == 302:
            self.at = answer["Location"].removeprefix(f"/{self.organisation.slug}/")
        return answer

    def send(self, **data: Any) -> Any:
        """Send the form of the page one is at."""
        return self.post(self.at, **data)

    def start(self) -> "Taker":
        """Tick the cautions."""
        self.post(f"check/start/{self.workshop.installation.uuid}/", **SAFE)
        return self

    def draft(self, page: str) -> str:
        """Return the address of another step of the draft one is at."""
        found = re.match(r"check/[0-9a-f-]+/", self.at)
        assert found, self.at
        return found[0] + page

    def ready(self, **conditions: Any) -> "Taker":
        """Go as far as the first stage."""
        self.start()
        meters = {"ammeter": self.workshop.ammeter.uuid, "voltmeter": self.workshop.voltmeter.uuid}
        self.send(**meters, **(CONDITIONS | conditions))
        self.at = self.draft("all-off/")
        self.send(supply_voltage_v="14.2", current_a="0")
        return self

    def read(self, **reading: Any) -> Any:
        """Send the reading of the stage one is at."""
        return self.send(**(HEALTHY | reading))

    def healthy(self) -> "Taker":
        """Read every stage of a healthy unit, as far as looking it over."""
        self.ready()
        for _stage in self.workshop.installation.retarder.retarder_type.revisions.get().rated_currents_a:
            self.read()
        return self

    def stored(self, **fields: Any) -> Inspection:
        """Store what was read and return the check."""
        answer = self.send(purpose="routine", **fields)
        assert answer.status_code == 302, answer.content.decode()
        return Inspection.objects.get(uuid=self.at.split("/")[1])
