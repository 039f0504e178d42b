"""What the unit showed the last time, reading by reading."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Q

from fleet.models import Installation
from inspections.derived import HUNDREDTHS
from inspections.documents import parsed_document
from inspections.models import Inspection

# A retest covers only its stages; further back than this a reading says little about today.
CHECKS_LOOKED_AT = 12


@dataclass(frozen=True, slots=True)
class LastReading:
    """The volts and amps read the last time with the same stages on, and the check they are from."""

    check: Inspection
    reading: Mapping[str, Any]

    def level_percent(self, stage: int) -> float | None:
        """Return the stage's level as that check judged it, in percent of rated."""
        level = getattr(self.check, f"level_{stage}")
        return None if level is None else level / HUNDREDTHS


def recent_checks(installation: Installation, *, before: dt.datetime | None = None) -> list[Inspection]:
    """Return the unit's newest checks that nothing has replaced, newest first; its history follows it."""
    earlier = Q() if before is None else Q(performed_at__lt=before)
    rows = Inspection.objects.filter(
        earlier,
        organisation=installation.organisation_id,
        installation__retarder=installation.retarder_id,
        superseded_by__isnull=True,
    )
    return list(rows.order_by("-performed_at", "-pk")[:CHECKS_LOOKED_AT])


def last_reading(checks: Iterable[Inspection], energised: Sequence[int]) -> LastReading | None:
    """Return the newest reading with exactly these stages on, the last of repeats; None where there is none."""
    wanted = sorted(energised)
    for check in checks:
        readings = parsed_document(check.evidence)["stage_readings"]
        for reading in reversed(readings):
            if sorted(reading["energised"]) == wanted:
                return LastReading(check, reading)
    return None
