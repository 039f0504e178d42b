"""What clients post about a defect's life."""

from typing import Any

from rest_framework import serializers

from api.fields import OneOf, Text
from inspections.models import RELEASE_DECISIONS


class RepairSerializer(serializers.Serializer[Any]):
    """What was done, with which parts, and the cause it confirmed."""

    done = Text(max_length=2_000)
    parts = serializers.ListField(child=Text(max_length=200), required=False, max_length=50)
    cause = Text(max_length=40, required=False, allow_blank=True)


class ReasonSerializer(serializers.Serializer[Any]):
    """A reason in words."""

    reason = Text(max_length=2_000)


class ReleaseSerializer(ReasonSerializer):
    """Whether and how the vehicle may run meanwhile, until when, and why."""

    decision = OneOf([code for code, _label in RELEASE_DECISIONS])
    until = serializers.DateField()


class DriverToldSerializer(serializers.Serializer[Any]):
    """Which driver was told."""

    driver = Text(max_length=200)
