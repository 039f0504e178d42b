"""The checkers, run with the tests: style, types, the direction of imports, migrations that match the models."""

import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command

ROOT = Path(__file__).parent.parent
TOOLS = Path(sys.executable).parent
PYTHON_FOLDERS = ["accounts", "api", "calc", "config", "dashboard", "fleet", "inspections", "schedules", "tests"]


@pytest.mark.parametrize(
    "command",
    [
        ["ruff", "check", "."],
        ["ruff", "format", "--check", "."],
        ["mypy", *PYTHON_FOLDERS],
        ["lint-imports", "--no-cache"],
    ],
    ids=lambda command: " ".join(command[:2]),
)
def test_a_checker_finds_nothing(command: list[str]) -> None:
    found = subprocess.run([TOOLS / command[0], *command[1:]], cwd=ROOT, capture_output=True, text=True)
    assert found.returncode == 0, found.stdout + found.stderr


@pytest.mark.django_db(databases="__all__")
def test_models_and_migrations_agree() -> None:
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)
