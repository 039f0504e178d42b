"""What is on file of the things that visits name, looked up once for however many visits come together."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from accounts.models import Organisation
from fleet.models import Installation, RatingRevision
from inspections.documents import Document
from inspections.evidence import rating_of
from inspections.experience import ConfirmedCounts
from inspections.limits import OwnLimits, limits_in_force
from inspections.models import Meter
from inspections.own_history import OwnHistories
from inspections.queries import installations_by_id, meters_by_id, newest_ratings


@dataclass(frozen=True, slots=True)
class OnFile:
    """Installations and meters by the ids that the outside knows, and what an organisation judges with."""

    installations: Mapping[UUID, Installation]
    ratings: Mapping[int, RatingRevision]
    meters: Mapping[UUID, Meter]
    own_limits: OwnLimits
    confirmed_counts: Mapping[str, int]
    own_histories: OwnHistories

    def rating_of(self, installation: Installation) -> RatingRevision:
        """Return the newest rating revision of the unit's type."""
        return self.ratings[installation.retarder.retarder_type_id]


def on_file(organisation: Organisation, documents: Sequence[Document]) -> OnFile:
    """Look up everything that the documents name, in a number of queries that does not grow with them."""
    installations = installations_by_id(organisation, {document["installation"] for document in documents})
    units = [installation.retarder for installation in installations.values()]
    ratings = newest_ratings(unit.retarder_type_id for unit in units)
    unidentified = [unit for unit in units if not ratings[unit.retarder_type_id].identified]
    return OnFile(
        installations,
        ratings,
        meters_by_id(organisation, {document[kind] for document in documents for kind in ("ammeter", "voltmeter")}),
        limits_in_force(organisation),
        ConfirmedCounts(organisation),
        OwnHistories.of({unit.pk: rating_of(ratings[unit.retarder_type_id]) for unit in unidentified}),
    )
