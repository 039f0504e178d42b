"""What was flagged, when, and how it ended: one row an episode, each keyed to the visits that began and ended it."""

from dataclasses import dataclass, fields

import numpy as np

from calc.arrays import Bools, Ints

ATTRIBUTIONS = ("stage", "all_stages", "supply", "retarder_ground", "meter")
STAGE, ALL_STAGES, SUPPLY, RETARDER_GROUND, METER = range(5)
# Why an episode ended; `repaired` resolves it, the others withdraw it.
ENDINGS = ("open", "subsided", "level_regained", "attributed_elsewhere", "repaired", "meter_effect")
OPEN, SUBSIDED, LEVEL_REGAINED, ATTRIBUTED_ELSEWHERE, REPAIRED, METER_EFFECT = range(6)
NEVER = -1


@dataclass(frozen=True, slots=True)
class Episodes:
    """Arrays of shape (episodes,), sorted by installation and the visit that raised each.

    Attributes
    ----------
    installation : ndarray of int
        Column of the batch.
    attribution : ndarray of int
        Index in `ATTRIBUTIONS`.
    stage : ndarray of int
        1 to 8 for `stage`, else 0.
    rising : ndarray of bool
        Whether the current rises.
    raised, confirmed, ended : ndarray of int
        Visit that raised, confirmed and ended it, −1 where it never was.
    ending : ndarray of int
        Index in `ENDINGS`.
    """

    installation: Ints
    attribution: Ints
    stage: Ints
    rising: Bools
    raised: Ints
    confirmed: Ints
    ended: Ints
    ending: Ints

    def __len__(self) -> int:
        return len(self.installation)

    @property
    def state(self) -> list[str]:
        """Return watched, confirmed, withdrawn or resolved for each."""
        return [_state(*each) for each in zip(self.ending.tolist(), self.confirmed.tolist(), strict=True)]

    def where(self, chosen: Bools | Ints) -> "Episodes":
        """Return some of the episodes."""
        return Episodes(*(getattr(self, field.name)[chosen] for field in fields(self)))

    def of_columns(self, columns: Ints) -> "Episodes":
        """Return the episodes with the installations numbered as `columns` says."""
        rest = [getattr(self, field.name) for field in fields(self)[1:]]
        return Episodes(columns[self.installation], *rest)

    def sorted(self) -> "Episodes":
        """Return them by installation, raising visit, attribution and stage."""
        return self.where(np.lexsort((self.stage, self.attribution, self.raised, self.installation)))

    def identities(self) -> list[tuple[int, int, int, int]]:
        """Return installation, raising visit, attribution and stage, by which a record is found again."""
        columns = (self.installation, self.raised, self.attribution, self.stage)
        return list(zip(*(column.tolist() for column in columns), strict=True))


def no_episodes() -> Episodes:
    """Return an empty table."""
    empty = np.zeros(0, np.int64)
    return Episodes(empty, empty, empty, np.zeros(0, bool), empty, empty, empty, empty)


def all_of(tables: list[Episodes]) -> Episodes:
    """Return several tables as one."""
    if not tables:
        return no_episodes()
    columns = (np.concatenate([getattr(table, field.name) for table in tables]) for field in fields(Episodes))
    return Episodes(*columns).sorted()


def _state(ending: int, confirmed: int) -> str:
    if ending == REPAIRED:
        return "resolved"
    if ending != OPEN:
        return "withdrawn"
    return "watched" if confirmed == NEVER else "confirmed"
