"""What the POST of an inspection is measured beside: a bare nested create, and a bare view that stores one document.

Both live in the bench alone: their tables are made in the bench's own database and go with it.
"""

import json
from typing import Any

from django.db import connections, models, transaction
from django.http import HttpRequest, JsonResponse
from django.urls import path
from rest_framework import serializers
from rest_framework.generics import CreateAPIView

from accounts.owner import owner_alias


class BenchVisit(models.Model):
    """A visit whose readings are child rows."""

    installation = models.UUIDField()
    performed_at = models.DateTimeField()
    purpose = models.CharField(max_length=20)
    ammeter = models.UUIDField()
    voltmeter = models.UUIDField()
    coil_temperature_c = models.DecimalField(max_digits=8, decimal_places=3)

    class Meta:
        app_label = "bench"
        db_table = "bench_visit"

    def __str__(self) -> str:
        return str(self.pk)


class BenchReading(models.Model):
    """One reading of a visit."""

    visit = models.ForeignKey(BenchVisit, on_delete=models.CASCADE, related_name="stage_readings")
    stage = models.PositiveSmallIntegerField()
    energised = models.JSONField()
    supply_voltage_v = models.DecimalField(max_digits=8, decimal_places=3)
    current_a = models.DecimalField(max_digits=8, decimal_places=3)

    class Meta:
        app_label = "bench"
        db_table = "bench_reading"

    def __str__(self) -> str:
        return str(self.pk)


class BenchDocument(models.Model):
    """A visit as one document."""

    body = models.JSONField()

    class Meta:
        app_label = "bench"
        db_table = "bench_document"

    def __str__(self) -> str:
        return str(self.pk)


TABLES: list[type[models.Model]] = [BenchVisit, BenchReading, BenchDocument]


class BenchReadingSerializer(serializers.ModelSerializer[Any]):
    """A reading, field by field as the framework makes them."""

    class Meta:
        model = BenchReading
        fields = ["stage", "energised", "supply_voltage_v", "current_a"]


class BenchVisitSerializer(serializers.ModelSerializer[Any]):
    """A visit with its readings, stored as the framework's guide does."""

    stage_readings = BenchReadingSerializer(many=True)

    class Meta:
        model = BenchVisit
        fields = [
            "id", "installation", "performed_at", "purpose", "ammeter", "voltmeter", "coil_temperature_c",
            "stage_readings",
        ]  # fmt: skip

    def create(self, validated_data: dict[str, Any]) -> BenchVisit:
        """Store the visit by one insert and all its readings by another."""
        readings = validated_data.pop("stage_readings")
        with transaction.atomic():
            visit: BenchVisit = BenchVisit._default_manager.create(**validated_data)
            BenchReading._default_manager.bulk_create([BenchReading(visit=visit, **reading) for reading in readings])
        return visit


class NestedCreate(CreateAPIView[BenchVisit]):
    """The bare nested create: nobody is asked who they are, nothing is judged, nothing follows."""

    authentication_classes = ()
    permission_classes = ()
    throttle_classes = ()
    serializer_class = BenchVisitSerializer
    queryset = BenchVisit._default_manager.all()


def store_document(request: HttpRequest) -> JsonResponse:
    """Store the body as it is: the least that a framework can do with a post."""
    row = BenchDocument._default_manager.create(body=json.loads(request.body))
    return JsonResponse({"id": row.pk}, status=201)


urlpatterns = [path("bench/nested/", NestedCreate.as_view()), path("bench/document/", store_document)]


def make_bench_tables() -> None:
    """Make the peers' tables; they go with the bench's database."""
    owner = connections[owner_alias()]
    with owner.schema_editor() as editor:
        for table in TABLES:
            editor.create_model(table)
