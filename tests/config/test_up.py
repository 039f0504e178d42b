"""`manage.py up`: everything from an empty database to a running service, and what it refuses in one line."""

import signal
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.config.processes import answers, free_port, manage, query, refusal, running, wait_until
from tests.databases import Databases, own_environment

COUNTED = [
    "accounts_organisation",
    "accounts_auditentry",
    "fleet_vehicle",
    "inspections_inspection",
    "schedules_reminder",
]


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory, databases: Databases) -> Iterator[dict[str, str]]:
    """Return the environment of a start on a database that a first `up --once` has loaded."""
    with databases.with_demo_book("up") as name:
        yield own_environment(tmp_path_factory.mktemp("up"), name)


def counts(environment: dict[str, str]) -> list[int]:
    return [query(environment, f"SELECT count(*) FROM {table}")[0][0] for table in COUNTED]


def test_the_first_start_loads_the_demo_fleet_and_does_the_nights_work(
    loaded: dict[str, str], databases: Databases
) -> None:
    loading, fleet, night = databases.said_by_the_first_start().splitlines()
    vehicles, inspections = (
        counts(loaded)[COUNTED.index(name)] for name in ("fleet_vehicle", "inspections_inspection")
    )
    assert "the demo fleet (an invented operator)" in loading
    assert fleet == f"Demo fleet: {vehicles} vehicles and {inspections} inspections of an invented operator."
    assert night.startswith("Night's work: ")
    assert query(loaded, "SELECT job, state FROM accounts_workrun") == [("night", "done")]
    assert vehicles > 0
    assert query(loaded, "SELECT count(*) FROM schedules_duedate")[0][0] > 0


def test_a_second_start_loads_nothing_again(loaded: dict[str, str]) -> None:
    before = counts(loaded)
    ended = manage(loaded, "up", "--once")
    assert ended.returncode == 0, ended.stderr
    (night,) = ended.stdout.splitlines()
    assert night.startswith("Night's work: ")
    assert counts(loaded)[:-1] == before[:-1]


def test_a_database_newer_than_the_code_is_refused(loaded: dict[str, str]) -> None:
    row = "'fleet', '9999_from_the_future'"
    query(loaded, f"INSERT INTO django_migrations (app, name, applied) VALUES ({row}, '2031-01-01 00:00:00+00:00')")
    try:
        line = refusal(loaded, "up", "--once")
    finally:
        query(loaded, "DELETE FROM django_migrations WHERE name = '9999_from_the_future'")
    assert "newer than this code" in line
    assert "fleet.9999_from_the_future" in line


def test_a_database_that_cannot_be_reached_is_said_in_one_line(loaded: dict[str, str]) -> None:
    away = f"postgres://nobody@127.0.0.1:{free_port()}/nowhere"
    line = refusal(loaded | {"DATABASE_URL": away, "DATABASE_OWNER_URL": away}, "up", "--once")
    assert "The database cannot be reached" in line


def test_a_taken_port_is_said_before_anything_is_done(loaded: dict[str, str]) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        line = refusal(loaded, "up", "--port", str(port))
    assert line.startswith(f"CommandError: Port {port} on 127.0.0.1 cannot be used: ")
    assert line.endswith("Try --port.")


def test_no_other_machine_is_served_while_the_demo_passwords_stand(loaded: dict[str, str]) -> None:
    ended = manage(loaded, "up", "--host", "0.0.0.0", "--port", str(free_port()), within_s=20)
    assert ended.returncode == 1
    (line,) = ended.stderr.splitlines()
    assert "0.0.0.0 is not this machine alone" in line
    assert "demo passwords" in line


def test_it_serves_until_interrupted_and_ends_cleanly(loaded: dict[str, str], tmp_path: Path) -> None:
    port, log = free_port(), tmp_path / "log"
    with running(loaded, log, "manage.py", "up", "--port", str(port)) as process:
        wait_until(lambda: answers(f"http://127.0.0.1:{port}/healthz"), process, log)
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=15) == 0, log.read_text()
    said = log.read_text()
    assert f"http://127.0.0.1:{port}/" in said
    assert "demo-technician" in said
    assert "Traceback" not in said
