"""Which types on file a unit could be of, by what its stages conducted; nobody is taken at the figures' word."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Prefetch

from calc.evidence import OwnConductance, Rating, rating_not_identified
from calc.own_figures import own_means
from calc.type_candidates import TypeFit, type_fit
from fleet.models import Installation, RatingRevision, RetarderType
from inspections.evidence import rating_of
from inspections.own_history import OwnHistories, conductances_of

MOST_SHOWN = 50
# Of sound units one in twenty looks so far off or further.
LEAST_THAT_FITS = 0.05


@dataclass(frozen=True, slots=True)
class Candidate:
    """A type on file, its newest rating, how the unit fits it, and its coils where its wiring is known."""

    kind: RetarderType
    rating: RatingRevision
    fit: TypeFit
    coils: int | None

    @property
    def same_amps(self) -> float | None:
        """Return the rated amps where all stages share them."""
        amps = set(self.rating.rated_currents_a)
        return amps.pop() if len(amps) == 1 else None

    @property
    def share(self) -> float | None:
        """Return the probability of the fit. [%]"""
        return None if self.fit.probability is None else 100 * self.fit.probability


@dataclass(frozen=True, slots=True)
class Candidates:
    """What a unit conducts by how many checks, and the types of as many stages and volts, the best fit first."""

    checks: int
    own: Sequence[OwnConductance]
    found: Sequence[Candidate]


def type_candidates(unit: Installation) -> Candidates:
    """Return the types on file that a unit could be of, in a number of queries that does not grow with them."""
    stages, system_voltage_v = unit.retarder.retarder_type.stages, unit.vehicle.system_voltage_v
    histories = OwnHistories.of({unit.retarder_id: rating_not_identified(stages, system_voltage_v)})
    baseline = histories.baseline(unit.retarder_id)
    own = own_means(conductances_of(baseline))
    newest = [(kind, _newest(kind)) for kind in _types(unit)]
    found = [
        _candidate(kind, rating, own)
        for kind, rating in newest
        if rating and rating.system_voltage_v == system_voltage_v
    ]
    return Candidates(len(baseline), own, sorted(found, key=_best_first)[:MOST_SHOWN])


def _types(unit: Installation) -> list[RetarderType]:
    revisions = Prefetch("revisions", RatingRevision.objects.order_by("number"))
    rows = RetarderType.objects.of(unit.organisation_id).filter(
        identified=True, stages=unit.retarder.retarder_type.stages
    )
    return list(rows.prefetch_related(revisions).order_by("designation"))


def _newest(kind: RetarderType) -> RatingRevision | None:
    """Return the newest rating, None of a type that was given none yet."""
    revisions = list(kind.revisions.all())
    return revisions[-1] if revisions else None


def _candidate(kind: RetarderType, newest: RatingRevision, own: Sequence[OwnConductance]) -> Candidate:
    rating = rating_of(newest)
    return Candidate(kind, newest, type_fit(own, rating), _coils(rating))


def _coils(rating: Rating) -> int | None:
    # One coil a stage is what stands where the wiring was never told.
    of_a_stage = rating.coils_in_series * rating.coils_in_parallel
    return of_a_stage * rating.stages if of_a_stage > 1 else None


def _best_first(candidate: Candidate) -> tuple[int, float, str]:
    """Order by what fits in level and shape, what fits as far as can be told, what does not, what cannot be told."""
    probability = candidate.fit.probability
    if probability is None:
        return 3, 0.0, candidate.kind.designation
    in_part = 0 if candidate.fit.level_percent is not None else 1
    return (in_part if probability >= LEAST_THAT_FITS else 2), -probability, candidate.kind.designation
