"""Units whose type is not identified: how they are put on file, what they could be, and what they are said to be."""

from typing import Any

from rest_framework import serializers

from api.fields import Id, Text, Whole
from api.serializers.filing import DayOnFile, FloatQuantity
from api.serializers.rejudgings import RejudgingReportSerializer
from api.serializers.rows import InstallationSerializer
from api.serializers.shapes import Shape, number
from calc.uncertainty import NORMAL_COVERAGE_FACTOR
from fleet.models import MAX_STAGES
from inspections.type_candidates import Candidate, Candidates


class NotIdentifiedFormSerializer(serializers.Serializer[Any]):
    """A unit whose plate cannot be read, as it is fitted to a vehicle; `serial_number` may be a mark of one's own."""

    vehicle = Id()
    serial_number = Text(max_length=60)
    stages = Whole(low=1, high=MAX_STAGES)
    coils_counted = Whole(low=1, high=200, required=False, allow_null=True)
    leads_counted = Whole(low=1, high=200, required=False, allow_null=True)
    air_gap_mm = FloatQuantity(above=True, high=100, required=False, allow_null=True)
    note = Text(max_length=2_000, required=False, allow_blank=True)
    fitted_on = DayOnFile(required=False, allow_null=True)


class IdentifyFormSerializer(serializers.Serializer[Any]):
    """Of which type on file a unit is, and how that is known."""

    retarder_type = Id()
    reason = Text(max_length=2_000)


class IdentifiedSerializer(Shape):
    """The unit under its new type, and its checks judged anew by that type's rating; null where it has none."""

    installation = InstallationSerializer()
    rejudging = RejudgingReportSerializer(allow_null=True)


class OwnConductanceSerializer(Shape):
    """What a stage conducts at 20 °C, by its checks; the expanded uncertainty is of k = 2."""

    stage = serializers.IntegerField()
    conductance_s = serializers.FloatField()
    expanded_uncertainty_s = serializers.FloatField()


class TypeStampSerializer(Shape):
    """A type as a candidate names it."""

    id = serializers.UUIDField()
    designation = serializers.CharField()


class TypeCandidateSerializer(Shape):
    """A type on file, and how well the unit fits it.

    `fit_probability`: how often a sound unit of the type would look this far off or further; null where nothing can be
    compared.  `level_percent`: the mean of the stages in percent of rated, null where the rating states no voltage.
    """

    retarder_type = TypeStampSerializer()
    revision = serializers.IntegerField()
    rated_currents_a = serializers.ListField(child=serializers.FloatField())
    reference_voltage_v = number()
    coils = serializers.IntegerField(allow_null=True)
    level_percent = number()
    level_expanded_uncertainty_percent = number()
    deviation_percent = number()
    deviation_expanded_uncertainty_percent = number()
    fit_probability = number()


class TypeCandidatesSerializer(Shape):
    """The types that a unit could be of, the best fit first; none is ever chosen by itself."""

    checks = serializers.IntegerField()
    stages = OwnConductanceSerializer(many=True)
    candidates = TypeCandidateSerializer(many=True)


def candidates_answer(candidates: Candidates) -> dict[str, Any]:
    """Return the candidates as they are answered."""
    stages = [
        {
            "stage": one.stage,
            "conductance_s": one.conductance_s,
            "expanded_uncertainty_s": NORMAL_COVERAGE_FACTOR * one.u_conductance_s,
        }
        for one in candidates.own
    ]
    return {"checks": candidates.checks, "stages": stages, "candidates": list(map(_candidate, candidates.found))}


def _candidate(candidate: Candidate) -> dict[str, Any]:
    fit = candidate.fit._asdict()
    return {
        "retarder_type": {"id": candidate.kind.uuid, "designation": candidate.kind.designation},
        "revision": candidate.rating.number,
        "rated_currents_a": candidate.rating.rated_currents_a,
        "reference_voltage_v": candidate.rating.reference_voltage_v,
        "coils": candidate.coils,
        "fit_probability": fit.pop("probability"),
        **fit,
    }
