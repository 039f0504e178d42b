"""Two first starts at once, a start that is interrupted, and one that is killed."""

import fcntl
import os
import signal
import subprocess
import time
from collections.abc import Callable

from tests.bootstrap.project import Project, finished

WAITING = "manage.py: another first start is preparing the environment; waiting for it ..."


def wait_until(condition: Callable[[], object]) -> None:
    deadline_s = time.monotonic() + 20
    while not condition():
        assert time.monotonic() < deadline_s, "waited in vain"
        time.sleep(0.02)


def start_with_a_slow_installer(project: Project, takes_s: str, **extra: str) -> "subprocess.Popen[str]":
    process = project.start("up", INSTALLER_TAKES_S=takes_s, **extra)
    wait_until(lambda: project.calls)
    return process


def test_the_second_of_two_first_starts_waits_and_then_runs_without_installing(project: Project) -> None:
    project.provide_uv()
    first = start_with_a_slow_installer(project, "1")
    second = project.run("up")
    assert second.stderr == WAITING + "\n"
    assert second.stdout == finished(first).stdout
    assert len(project.calls) == 1


def test_the_second_start_makes_the_environment_where_the_first_one_failed(project: Project) -> None:
    project.provide_uv()
    no_pip = project.hide_modules("ensurepip", "pip")
    first = start_with_a_slow_installer(project, "1", INSTALLER_FAILS="1", PYTHONPATH=no_pip)
    second = project.run("up")
    assert finished(first).returncode == 1
    assert second.returncode == 0
    assert second.stderr.splitlines()[0] == WAITING


def test_waiting_ends_with_one_line_when_it_takes_too_long(project: Project) -> None:
    (project.root / "var").mkdir()
    with (project.root / "var" / "bootstrap.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        outcome = project.run_in_bootstrap("bootstrap.WAIT_FOR_ANOTHER_START_S = 0.3")
    held = f"manage.py: another first start has held {project.root}/var/bootstrap.lock for too long; end it first."
    assert outcome.stderr.splitlines() == [WAITING, held]
    assert outcome.returncode == 1


def test_an_interruption_from_the_keyboard_is_one_line_and_the_next_start_begins_anew(project: Project) -> None:
    project.provide_uv()
    process = start_with_a_slow_installer(project, "30")
    os.killpg(process.pid, signal.SIGINT)
    interrupted = finished(process)
    assert interrupted.returncode == 130
    assert interrupted.stderr.splitlines()[-1] == ("manage.py: interrupted; the next start makes the environment anew.")
    assert not project.stamp.exists()
    assert project.run("up").returncode == 0


def test_a_start_killed_with_its_installer_is_made_good_by_the_next_one(project: Project) -> None:
    project.provide_uv()
    process = start_with_a_slow_installer(project, "30")
    os.killpg(process.pid, signal.SIGKILL)
    finished(process)
    assert (project.root / ".venv").exists()
    assert not project.stamp.exists()
    assert project.run("up").returncode == 0
    assert project.stamp.exists()


def test_a_start_waits_for_the_installer_that_outlived_a_killed_one(project: Project) -> None:
    project.provide_uv()
    process = start_with_a_slow_installer(project, "1.5")
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    second = project.run("up")
    process.communicate()
    assert second.stderr.splitlines()[0] == WAITING
    assert second.returncode == 0


def test_an_environment_whose_completion_was_killed_is_made_anew(project: Project) -> None:
    project.provide_uv()
    project.run("up")
    process = project.start("test", INSTALLER_TAKES_S="30")
    wait_until(lambda: len(project.calls) == 2)
    os.killpg(process.pid, signal.SIGKILL)
    finished(process)
    assert "preparing the environment" in project.run("up").stderr
