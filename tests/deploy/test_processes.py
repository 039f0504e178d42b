"""The commands of the compose file, started as processes of this machine against real PostgreSQL and Redis."""

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.request import urlopen

import pytest

from tests.config.processes import free_port, started
from tests.deploy.compose import REPOSITORY, SERVICES, instruction_of_dockerfile

ON_REAL_SERVICES = os.environ.get("DATABASE_URL", "").startswith("postgres") and "CELERY_BROKER_URL" in os.environ
VAR_OF_THE_IMAGE = "/var/lib/coilbook"


@pytest.fixture
def environment(request: pytest.FixtureRequest) -> dict[str, str]:
    """The environment of a migrated database of its own, with the project's programs on the search path."""
    if not ON_REAL_SERVICES:
        pytest.skip("needs PostgreSQL and Redis")
    variables: dict[str, str] = request.getfixturevalue("process_environment")
    search_path = os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])
    return {**variables, "PATH": search_path, "HOSTNAME": socket.gethostname(), "COILBOOK_NO_BOOTSTRAP": "1"}


@contextlib.contextmanager
def running(command: list[str], environment: dict[str, str], log: Path) -> "Iterator[subprocess.Popen[bytes]]":
    """Run a service in a process group of its own, and see to it that none of the group is left."""
    program = shutil.which(command[0], path=environment["PATH"])
    assert program is not None
    process = started([program, *command[1:]], environment, log)
    try:
        yield process
    finally:
        end_group(process)


def end_group(process: "subprocess.Popen[bytes]") -> None:
    """End a service as compose would: ask, wait, then insist."""
    process.terminate()
    try:
        process.wait(timeout=15)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait(timeout=5)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)


def wait_until(condition: Callable[[], bool], process: "subprocess.Popen[bytes]", log: Path, within_s: float) -> None:
    deadline_s = time.monotonic() + within_s
    while not condition():
        assert process.poll() is None, f"ended with {process.returncode}:\n{log.read_text()}"
        assert time.monotonic() < deadline_s, f"not ready in time:\n{log.read_text()}"
        time.sleep(0.1)


def command_of(service: str, **replacements: str) -> list[str]:
    """Return the compose command with what this machine needs otherwise."""
    words: list[str] = SERVICES[service]["command"]
    for old, new in replacements.items():
        assert any(old in word for word in words)
        words = [word.replace(old, new) for word in words]
    return words


def shell_check_of(service: str) -> str:
    """Return the text of a service's health check, with compose's own escapes undone."""
    kind, text = SERVICES[service]["healthcheck"]["test"]
    assert kind == "CMD-SHELL"
    return str(text).replace("$$", "$")


def passes(check: str | list[str], environment: dict[str, str]) -> bool:
    outcome = subprocess.run(
        check, shell=isinstance(check, str), cwd=REPOSITORY, env=environment, capture_output=True, check=False
    )
    return outcome.returncode == 0


def status_of(address: str) -> int:
    try:
        with urlopen(address, timeout=5) as answer:
            status: int = answer.status
            return status
    except OSError:
        # Refused, or accepted by a server that is still loading the service.
        return 0


def test_web_answers_and_the_images_health_check_agrees(environment: dict[str, str], tmp_path: Path) -> None:
    port, log = free_port(), tmp_path / "log"
    check = [word.replace(":8000", f":{port}") for word in instruction_of_dockerfile("CMD", of="HEALTHCHECK")]
    assert not passes(check, environment)
    with running(command_of("web", **{"0.0.0.0:8000": f"127.0.0.1:{port}"}), environment, log) as process:
        wait_until(lambda: status_of(f"http://127.0.0.1:{port}/healthz") == 200, process, log, within_s=30)
        assert passes(check, environment)


def test_worker_answers_its_health_check(environment: dict[str, str], tmp_path: Path) -> None:
    log, check = tmp_path / "log", shell_check_of("worker")
    assert not passes(check, environment)
    with running(command_of("worker"), environment, log) as process:
        wait_until(lambda: passes(check, environment), process, log, within_s=60)


def test_beat_stays_alive_and_its_health_check_sees_its_schedule(environment: dict[str, str], tmp_path: Path) -> None:
    log, folder = tmp_path / "log", tmp_path / "var"
    folder.mkdir()
    check = shell_check_of("beat").replace(VAR_OF_THE_IMAGE, str(folder))
    assert not passes(check, environment)
    with running(command_of("beat", **{VAR_OF_THE_IMAGE: str(folder)}), environment, log) as process:
        wait_until(lambda: passes(check, environment), process, log, within_s=30)
        time.sleep(3)
        assert process.poll() is None, log.read_text()
