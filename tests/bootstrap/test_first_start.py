"""What a person sees who types one of the two commands: once on a fresh machine, and again later."""

import importlib.util
import json
import stat
from pathlib import Path

import pytest

from tests.bootstrap.project import BASE_PYTHON, Project

WATCH = """
import sys
def note(event, arguments):
    if event in ("subprocess.Popen", "os.fork", "os.posix_spawn", "os.system", "socket.connect"):
        with open({log!r}, "a") as log:
            log.write(event)
sys.addaudithook(note)
"""


def test_a_first_start_makes_the_environment_with_pip_and_runs_the_command_inside_it(project: Project) -> None:
    outcome = project.run("up", "--port", "8100")
    report = json.loads(outcome.stdout)
    assert report["argv"] == [str(project.root / "manage.py"), "up", "--port", "8100"]
    assert Path(report["prefix"]) == project.root / ".venv"
    assert report["settings"] == "config.settings"
    assert [line.partition(":")[0] for line in outcome.stderr.splitlines()] == ["manage.py", "manage.py"]
    assert stat.S_IMODE((project.root / "var").stat().st_mode) == 0o700


def test_a_second_start_says_nothing_starts_no_other_process_and_changes_no_file(project: Project) -> None:
    project.provide_uv()
    first = project.run("up")
    before = times_of_change(project)
    watch = project.folder / "watch"
    watch.mkdir()
    (watch / "sitecustomize.py").write_text(WATCH.format(log=str(project.folder / "events")))
    second = project.run("up", PYTHONPATH=str(watch), PYTHONDONTWRITEBYTECODE="1")
    assert second.stdout == first.stdout
    assert second.stderr == ""
    assert not (project.folder / "events").exists()
    assert times_of_change(project) == before
    assert len(project.calls) == 1


def test_the_watch_of_the_second_start_sees_the_installer_of_a_first_start(project: Project) -> None:
    project.provide_uv()
    (project.folder / "sitecustomize.py").write_text(WATCH.format(log=str(project.folder / "events")))
    project.run("up", PYTHONPATH=str(project.folder))
    assert "subprocess.Popen" in (project.folder / "events").read_text()


def times_of_change(project: Project) -> dict[Path, int]:
    paths = [path for path in project.root.rglob("*") if "__pycache__" not in path.parts]
    return {path: path.lstat().st_mtime_ns for path in paths if path.name != "__pycache__" and not path.is_dir()}


def test_what_was_installed_is_compiled_where_starts_may_write_nothing(project: Project) -> None:
    project.run("up", PYTHONDONTWRITEBYTECODE="1")
    packages = next((project.root / ".venv").glob("lib/*/site-packages"))
    sources = [path for path in packages.rglob("*.py") if "__pycache__" not in path.parts]
    assert sources
    assert [path for path in sources if not Path(importlib.util.cache_from_source(path)).exists()] == []


def test_test_becomes_pytest_in_the_projects_folder_and_keeps_its_arguments_and_exit_code(project: Project) -> None:
    outcome = project.run("test", "-k", "two words")
    assert outcome.returncode == 5
    report = json.loads(outcome.stdout)
    assert report["argv"] == ["-k", "two words"]
    assert Path(report["cwd"]) == project.root
    assert Path(report["prefix"]) == project.root / ".venv"


def test_what_test_installed_also_serves_every_other_command(project: Project) -> None:
    project.provide_uv()
    project.run("test")
    assert project.run("up").stderr == ""
    assert len(project.calls) == 1


def test_what_up_installed_is_completed_by_test(project: Project) -> None:
    project.provide_uv()
    project.run("up")
    project.run("test")
    assert [call.rpartition("/")[2] for call in project.calls] == ["base.txt", "test.txt"]


def test_a_changed_lock_is_installed_at_the_next_start(project: Project) -> None:
    project.provide_uv()
    project.run("up")
    with (project.root / "requirements" / "base.txt").open("a") as lock:
        lock.write("# another version\n")
    assert "the environment is ready" in project.run("up").stderr
    assert len(project.calls) == 2


def test_uv_installs_hashed_requirements_into_the_environment(project: Project) -> None:
    project.provide_uv()
    project.run("up")
    python, lock = project.root / ".venv/bin/python", project.root / "requirements/base.txt"
    assert project.calls == [f"pip install -q --require-hashes --python {python} -r {lock}"]


def test_pip_takes_over_where_uv_fails(project: Project) -> None:
    project.executable("uv", "#!/bin/sh\necho 'error: out of luck' >&2\nexit 2\n")
    outcome = project.run("up")
    assert outcome.returncode == 0
    assert "uv did not succeed (error: out of luck); going on with pip." in outcome.stderr


def test_the_interpreters_own_pip_serves_where_ensurepip_is_missing(project: Project) -> None:
    path = Path(project.hide_modules("ensurepip"))
    (path / "pip").mkdir()
    (path / "pip" / "__init__.py").touch()
    (path / "pip" / "__main__.py").write_text(project.installer_text())
    outcome = project.run("up", PYTHONPATH=str(path))
    assert outcome.returncode == 0, outcome.stderr
    assert project.calls[0].startswith(f"--python {project.root / '.venv/bin/python'} install --require-hashes")


def test_an_older_python_goes_on_with_a_newer_one_that_works(project: Project) -> None:
    project.provide_uv()
    project.executable("python3.11", "#!/bin/sh\nexit 127\n")
    (project.folder / "bin" / "python3.13").symlink_to(BASE_PYTHON)
    outcome = project.run_in_bootstrap("sys.version_info = (3, 9, 18)")
    assert json.loads(outcome.stdout)["argv"][1:] == ["up"]


@pytest.mark.parametrize("damage", ["stamp", "interpreter"])
def test_an_environment_that_was_left_unfinished_is_made_anew(project: Project, damage: str) -> None:
    project.provide_uv()
    project.run("up")
    leftover = project.root / ".venv" / "leftover"
    leftover.touch()
    {"stamp": project.stamp, "interpreter": project.root / ".venv/bin/python"}[damage].unlink()
    assert project.run("up").returncode == 0
    assert project.stamp.exists()
    assert not leftover.exists()


def test_a_variable_switches_the_bootstrap_off(project: Project) -> None:
    wheel = next((project.folder / "wheels").glob("django*.whl"))
    outcome = project.run("up", COILBOOK_NO_BOOTSTRAP="1", PYTHONPATH=str(wheel))
    assert json.loads(outcome.stdout)["argv"][1:] == ["up"]
    assert outcome.stderr == ""
    assert not (project.root / ".venv").exists()
