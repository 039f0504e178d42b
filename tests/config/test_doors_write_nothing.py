"""Only services write: no view, page, task, command or wiring stores, changes or deletes a row itself."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ROOMS = ("accounts", "fleet", "schedules", "inspections")
WRITES = {
    "save",
    "create",
    "acreate",
    "update",
    "aupdate",
    "delete",
    "adelete",
    "asave",
    "_raw_delete",
    "bulk_create",
    "bulk_update",
    "get_or_create",
    "update_or_create",
    "full_clean",
    "set_password",
}
STATEMENT = re.compile(r"(INSERT INTO|UPDATE|DELETE FROM|TRUNCATE|ALTER|DROP|CREATE) ")


def doors() -> list[Path]:
    """Return every file of the doors."""
    files = [path for folder in ("api", "dashboard", "config") for path in (ROOT / folder).rglob("*.py")]
    files += [path for room in ROOMS for path in (ROOT / room).glob("management/commands/*.py")]
    files += [ROOT / room / "tasks.py" for room in ROOMS if (ROOT / room / "tasks.py").exists()]
    files += [ROOT / room / "admin.py" for room in ROOMS if (ROOT / room / "admin.py").exists()]
    return sorted(files)


def writes(source: str) -> Iterator[str]:
    """Return each call that writes rows, by line.

    A call on a name that the file itself made a dict or a set is no call on a model.
    """
    tree = ast.parse(source)
    plain = set(_plain_names(tree))
    for node in ast.walk(tree):
        match node:
            case ast.Call(func=ast.Attribute(value=ast.Name(id=name))) if name in plain:
                pass
            case ast.Call(func=ast.Attribute(attr=called)) if called in WRITES:
                yield f"{node.lineno}: .{called}("
            case ast.Constant(value=str(text)) if STATEMENT.match(text):
                yield f"{node.lineno}: {text[:40]}"


def _plain_names(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        match node:
            case ast.Assign(targets=[ast.Name(id=name)], value=ast.Dict() | ast.DictComp() | ast.Set()):
                yield name
            case ast.AnnAssign(target=ast.Name(id=name), value=ast.Dict() | ast.DictComp() | ast.Set()):
                yield name


@pytest.mark.parametrize("path", doors(), ids=lambda path: str(path.relative_to(ROOT)))
def test_a_door_writes_nothing(path: Path) -> None:
    assert list(writes(path.read_text("utf-8"))) == []


@pytest.mark.parametrize(
    "source",
    [
        "Vehicle.objects.create(fleet_number=1)",
        "vehicle.save()",
        "Vehicle.objects.filter(pk=1).update(in_service=False)",
        "self.get_queryset().delete()",
        "Vehicle.objects.bulk_create(rows, ignore_conflicts=True)",
        "cursor.execute('UPDATE fleet_vehicle SET in_service = 0')",
    ],
)
def test_a_write_would_be_found(source: str) -> None:
    assert len(list(writes(source))) == 1


@pytest.mark.parametrize(
    "source", ["shown = {}\nshown.update(a=1)", "Vehicle.objects.filter(pk=1)", "cursor.execute('SELECT 1')"]
)
def test_what_only_reads_is_let_through(source: str) -> None:
    assert list(writes(source)) == []


def test_the_doors_are_found() -> None:
    names = {str(path.relative_to(ROOT)) for path in doors()}
    assert {"api/views/inspections.py", "config/management/commands/up.py", "inspections/tasks.py"} <= names
    assert "inspections/management/commands/nightly.py" in names
