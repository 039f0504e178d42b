"""A skip that nobody expects fails a run with CI=true, and says which one it was."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests import conftest
from tests.config import expected_skips

ROOT = Path(__file__).parents[2]
ON_POSTGRESQL = {"DATABASE_URL": "postgres://nobody@127.0.0.1/nowhere"}
ON_SQLITE = {"DATABASE_URL": "sqlite:////nowhere"}


def run_of(folder: Path, body: str, variables: dict[str, str]) -> "subprocess.CompletedProcess[str]":
    """Run one file of tests by itself, with the hooks and without the rest of the project."""
    (folder / "test_sample.py").write_text("import pytest\n" + body)
    options = ("-p", "tests.config.expected_skips", "-p", "no:cacheprovider", "-c", os.devnull)
    return subprocess.run(
        [sys.executable, "-m", "pytest", *options, "--rootdir", str(folder), str(folder)],
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT), "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"} | variables,
        capture_output=True,
        text=True,
        check=False,
    )


def skipped_for(reason: str) -> str:
    return f"def test_it():\n    pytest.skip({reason!r})\n"


@pytest.mark.parametrize(
    ("body", "variables"),
    [
        (skipped_for("needs a broker"), {"CI": "true", **ON_SQLITE}),
        (skipped_for("needs PostgreSQL and Redis"), {"CI": "true", "DATABASE_URL": ""}),
        (skipped_for("no browser here"), {"CI": "false", **ON_SQLITE}),
        ("@pytest.mark.xfail(reason='known')\ndef test_it():\n    assert 0\n", {"CI": "true", **ON_SQLITE}),
        ("def test_it():\n    pass\n", {"CI": "true", **ON_POSTGRESQL}),
    ],
)
def test_what_is_expected_fails_nothing(tmp_path: Path, body: str, variables: dict[str, str]) -> None:
    ended = run_of(tmp_path, body, variables)
    assert ended.returncode == 0, ended.stdout + ended.stderr
    assert "skipped in silence" not in ended.stdout


@pytest.mark.parametrize(
    ("body", "variables", "named"),
    [
        (skipped_for("no browser here"), ON_SQLITE, "test_sample.py::test_it: no browser here"),
        (skipped_for("needs a broker"), ON_POSTGRESQL, "test_sample.py::test_it: needs a broker"),
        (skipped_for("needs a broker now"), ON_SQLITE, "test_sample.py::test_it: needs a broker now"),
        ("pytest.importorskip('no_such_module')\n", ON_SQLITE, "could not import 'no_such_module'"),
        ("@pytest.mark.skip(reason='later')\ndef test_it():\n    pass\n", ON_SQLITE, "test_sample.py::test_it: later"),
    ],
)
def test_any_other_skip_fails_the_run_by_name(tmp_path: Path, body: str, variables: dict[str, str], named: str) -> None:
    ended = run_of(tmp_path, body, {"CI": "true", **variables})
    assert ended.returncode == 1, ended.stdout + ended.stderr
    _before, _, summary = ended.stdout.partition("skipped in silence")
    assert named in summary


def test_this_run_is_watched_too() -> None:
    hooks = [name for name in vars(expected_skips) if name.startswith("pytest_")]
    assert len(hooks) == 4
    assert all(getattr(conftest, name) is getattr(expected_skips, name) for name in hooks)
