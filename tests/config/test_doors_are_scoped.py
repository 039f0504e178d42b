"""The first wall: a door asks for an organisation's rows through `.of(...)`, the one place that narrows them."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from accounts.identity import OrganisationQuerySet
from api.views.base import ReadableRows
from tests.accounts.tenant_tables import tenant_models
from tests.api.routes import api_routes
from tests.config.test_doors_write_nothing import ROOT, doors

TENANTS = {model.__name__ for model in tenant_models()}
# A question about no rows asks nobody.
SCOPED = {"of", "none"}
MANAGERS = {"objects", "_default_manager", "_base_manager"}
# What a token's holder is looked up by; the organisation follows from the row that it finds.
BY_KEY = {"api/authentication.py": ["ApiToken.objects.filter"]}


def unscoped(source: str) -> Iterator[str]:
    """Return each question to the rows of every organisation: the manager of a tenant's model without `.of`.

    A viewset's `queryset` is narrowed by the class that all viewsets share.
    """
    tree = ast.parse(source)
    shared = set(_querysets(tree))
    for node in ast.walk(tree):
        match node:
            case ast.Attribute(value=ast.Attribute(value=ast.Name(id=model), attr=manager), attr=asked) if (
                model in TENANTS and manager in MANAGERS and asked not in SCOPED and node not in shared
            ):
                yield f"{model}.{manager}.{asked}"


def _querysets(tree: ast.AST) -> Iterator[ast.AST]:
    for node in ast.walk(tree):
        match node:
            case ast.ClassDef(body=body):
                for each in body:
                    match each:
                        case ast.Assign(targets=[ast.Name(id="queryset")], value=value):
                            yield from ast.walk(value)


@pytest.mark.parametrize("path", doors(), ids=lambda path: str(path.relative_to(ROOT)))
def test_a_door_asks_for_one_organisations_rows(path: Path) -> None:
    found = list(unscoped(path.read_text("utf-8")))
    assert found == BY_KEY.get(str(path.relative_to(ROOT)), [])


def test_every_viewset_with_rows_narrows_them_in_the_one_place() -> None:
    classes = {route.view_class for route in api_routes() if getattr(route.view_class, "queryset", None) is not None}
    assert len(classes) >= 8
    assert {view.__name__ for view in classes if not issubclass(view, ReadableRows)} == set()


def test_every_tenants_model_can_be_asked_for_one_organisations_rows() -> None:
    lacking = [
        model.__name__
        for model in tenant_models()
        if not isinstance(model._default_manager.all(), OrganisationQuerySet)
    ]
    assert lacking == []


@pytest.mark.parametrize(
    "source",
    [
        "Vehicle.objects.all()",
        "Vehicle.objects.filter(pk=1).of(organisation)",
        "Prefetch('calibrations', queryset=Calibration.objects.order_by('pk'))",
        "get_object_or_404(Defect._default_manager.filter(stage=1), uuid=identity)",
        "class Page:\n    def rows(self):\n        queryset = Meter.objects.all()\n        return queryset",
    ],
)
def test_a_question_to_everybodys_rows_would_be_found(source: str) -> None:
    assert len(list(unscoped(source))) == 1


@pytest.mark.parametrize(
    "source",
    [
        "Vehicle.objects.of(organisation).filter(pk=1)",
        "Organisation.objects.first()",
        "class VehicleViewSet(RowViewSet):\n    queryset = Vehicle.objects.select_related('depot')",
    ],
)
def test_what_is_narrowed_is_let_through(source: str) -> None:
    assert list(unscoped(source)) == []
