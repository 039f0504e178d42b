"""The service's own commands as processes, as somebody at a terminal would run them."""

import contextlib
import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any
from urllib.error import URLError
from urllib.request import urlopen

import psycopg

ROOT = Path(__file__).parents[2]


def manage(environment: dict[str, str], *words: str, within_s: float = 60.0) -> subprocess.CompletedProcess[str]:
    """Run a command to its end."""
    return subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=ROOT,
        env=environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=within_s,
        check=False,
    )


def refusal(environment: dict[str, str], *words: str) -> str:
    """Return the one line a command ends with; exit code 1, and no traceback."""
    ended = manage(environment, *words)
    assert (ended.returncode, ended.stdout) == (1, ""), ended.stderr
    (line,) = ended.stderr.splitlines()
    return line


def started(command: Sequence[str], environment: dict[str, str], log: Path) -> "subprocess.Popen[bytes]":
    """Start a process in a group of its own that says everything to a log."""
    with log.open("wb") as output:
        return subprocess.Popen(
            command,
            cwd=ROOT,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )


@contextlib.contextmanager
def running(environment: dict[str, str], log: Path, *command: str) -> "Iterator[subprocess.Popen[bytes]]":
    """Run a process that stays, and see to it that none of its group is left."""
    process = started([sys.executable, *command], environment, log)
    try:
        yield process
    finally:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait(timeout=10)


def wait_until(
    condition: Callable[[], bool], process: "subprocess.Popen[bytes]", log: Path, within_s: float = 30.0
) -> None:
    """Wait for the condition while the process lives."""
    deadline_s = time.monotonic() + within_s
    while not condition():
        assert process.poll() is None, f"ended with {process.returncode}:\n{log.read_text()}"
        assert time.monotonic() < deadline_s, f"not in time:\n{log.read_text()}"
        time.sleep(0.1)


def free_port() -> int:
    """Return a port that nobody uses."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def answers(address: str) -> bool:
    """Tell whether an address answers 200."""
    try:
        with urlopen(address, timeout=5) as answer:
            return bool(answer.status == 200)
    except URLError:
        return False


def query(environment: dict[str, str], sql: str) -> list[tuple[Any, ...]]:
    """Return what the processes' database answers, and keep what a statement writes."""
    url = environment.get("DATABASE_OWNER_URL") or environment["DATABASE_URL"]
    if url.startswith("sqlite"):
        with contextlib.closing(sqlite3.connect(url.removeprefix("sqlite:///"))) as file, file:
            return file.execute(sql).fetchall()
    with psycopg.connect(url) as server:
        cursor = server.execute(sql)
        return cursor.fetchall() if cursor.description else []


def wait_until_served(address: str, server: "subprocess.Popen[Any]", within_s: float = 60.0) -> None:
    """Wait for an address to answer while its server lives."""
    deadline_s = time.monotonic() + within_s
    while not answers(address):
        assert server.poll() is None, "the server ended"
        assert time.monotonic() < deadline_s, f"{address} does not answer"
        time.sleep(0.1)
