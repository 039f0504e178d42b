"""One server for every test of this folder, with a demo book of its own."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPMessage
from typing import Any

import pytest

from tests.config.processes import free_port, manage, query, running, wait_until_served
from tests.databases import Databases, databases_of_this_run, own_environment

ANY_SECONDS = 60


@dataclass(frozen=True)
class Answer:
    """What came back over the socket, as it came."""

    status: int
    headers: HTTPMessage
    body: bytes

    def json(self) -> Any:
        """Return the document."""
        return json.loads(self.body)


@dataclass(frozen=True)
class Live:
    """A server on a port, the environment it runs in, and a technician's token."""

    port: int
    environment: dict[str, str]
    token: str

    def ask(self, method: str, path: str, document: Any = None, **headers: str) -> Answer:
        """Send one request over a connection of its own."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        connection = HTTPConnection("127.0.0.1", self.port, timeout=ANY_SECONDS)
        try:
            body = None if document is None else json.dumps(document)
            own = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/json"}
            connection.request(method, f"/api/v1/{path}", body, own | named)
            answer = connection.getresponse()
            return Answer(answer.status, answer.headers, answer.read())
        finally:
            connection.close()

    def first(self, path: str) -> Any:
        """Return the first row of a list."""
        return self.ask("GET", path).json()["results"][0]

    def count(self, table: str, **columns: str) -> int:
        """Count rows in the database that the server writes to, past the server."""
        where = " AND ".join(f"{name} = '{value}'" for name, value in columns.items())
        ((found,),) = query(self.environment, f"SELECT count(*) FROM {table} WHERE {where}")
        return int(found)

    def stored_id(self, inspection: str) -> str:
        """Return an id as the database writes it down."""
        return inspection if "postgres" in self.environment["DATABASE_URL"] else inspection.replace("-", "")


def token_of(environment: Mapping[str, str], username: str) -> str:
    """Return a new token of a member of the demo book."""
    issued = manage(dict(environment), "issue_token", username, "--organisation", "demo")
    assert issued.returncode == 0, issued.stderr
    return issued.stdout.strip()


@pytest.fixture(scope="session")
def live(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Live]:
    """Serve the demo book on a free port."""
    databases: Databases = databases_of_this_run(tmp_path_factory)
    folder, port = tmp_path_factory.mktemp("live"), free_port()
    with databases.with_demo_book("live") as name:
        environment = own_environment(folder, name) | {"CELERY_BROKER_URL": ""}
        with running(environment, folder / "log", "manage.py", "up", "--port", str(port)) as server:
            wait_until_served(f"http://127.0.0.1:{port}/healthz", server)
            yield Live(port, environment, token_of(environment, "demo-technician"))
