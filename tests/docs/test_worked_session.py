"""The README's worked session, run as it stands against a live server."""

import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.config.processes import free_port, wait_until_served
from tests.databases import Databases, own_environment

ROOT = Path(__file__).parent.parent.parent
README = (ROOT / "README.md").read_text()
LINES = r"((?:(?!```).*\n)*)"
BLOCK = re.compile(rf"^```sh\n{LINES}```\n\n```text\n{LINES}```", re.MULTILINE)
MARK = "--- end of block ---"


@pytest.fixture
def with_demo_book(tmp_path: Path, databases: Databases) -> Iterator[dict[str, str]]:
    """Return the environment of a server with a demo book of its own."""
    with databases.with_demo_book("session") as name:
        yield own_environment(tmp_path, name) | {"CELERY_BROKER_URL": ""}


@pytest.fixture
def served(with_demo_book: dict[str, str]) -> Iterator[dict[str, str]]:
    """Serve the demo fleet on a free port, and return the environment of a shell that talks to it."""
    port, environment = free_port(), with_demo_book
    command = [sys.executable, "manage.py", "up", "--port", str(port)]
    server = subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, text=True)
    try:
        wait_until_served(f"http://127.0.0.1:{port}/healthz", server)
        path = f"{Path(sys.executable).parent}{os.pathsep}{environment['PATH']}"
        yield environment | {"ADDRESS": f"http://127.0.0.1:{port}/api/v1", "PATH": path}
    finally:
        server.send_signal(signal.SIGINT)
        server.communicate(timeout=20)


def test_the_worked_session_runs_as_it_is_written(served: dict[str, str]) -> None:
    assert shutil.which("curl"), "the session needs curl"
    blocks = BLOCK.findall(README)
    assert len(blocks) >= 5
    script = "set -eu\n" + "".join(f"{commands}\necho '{MARK}'\n" for commands, _shown in blocks)
    ran = subprocess.run(["bash", "-c", script], cwd=ROOT, env=served, capture_output=True, text=True, timeout=120)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    for printed, (_commands, shown) in zip(ran.stdout.split(f"{MARK}\n"), blocks, strict=False):
        assert printed == shown
