"""The compose file against the compose schema, against the settings, and against the rules for secrets."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.deploy.compose import COMPOSE_FILE, OWN_SERVICES, REPOSITORY, SERVICES, instruction_of_dockerfile


def schema_check(path: Path) -> "subprocess.CompletedProcess[str]":
    command = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec", str(path)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_the_compose_file_meets_the_compose_schema() -> None:
    outcome = schema_check(COMPOSE_FILE)
    assert outcome.returncode == 0, outcome.stdout


def test_the_schema_check_notices_a_misspelt_key(tmp_path: Path) -> None:
    misspelt = tmp_path / "docker-compose.yml"
    misspelt.write_text(COMPOSE_FILE.read_text().replace("read_only:", "readonly:"))
    assert schema_check(misspelt).returncode == 1


@pytest.mark.parametrize("service", OWN_SERVICES)
def test_each_variable_of_a_service_is_one_that_the_settings_read(service: str) -> None:
    settings = "".join(path.read_text() for path in (REPOSITORY / "config").glob("*.py"))
    names = set(SERVICES[service]["environment"])
    assert "DATABASE_URL" in names
    assert {name for name in names if f'"{name}"' not in settings} == set()


def test_each_variable_of_the_image_is_one_that_the_project_or_python_reads() -> None:
    block = re.search(r"^ENV (.*?[^\\])$", (REPOSITORY / "Dockerfile").read_text(), re.MULTILINE | re.DOTALL)
    assert block is not None
    names = set(re.findall(r"(\w+)=", block[1]))
    sources = [REPOSITORY / "bootstrap.py", *(REPOSITORY / "config").glob("*.py")]
    read = "".join(path.read_text() for path in sources)
    assert "COILBOOK_NO_BOOTSTRAP" in names
    assert {name for name in names if name.startswith("COILBOOK_") and f'"{name}"' not in read} == set()


def test_a_secret_has_no_default_and_none_is_written_down() -> None:
    text = COMPOSE_FILE.read_text()
    uses = re.findall(r"\$\{(\w*(?:PASSWORD|SECRET)\w*)([^}]*)\}", text)
    assert {name for name, _ in uses} == {
        "COILBOOK_SECRET_KEY",
        "COILBOOK_APP_PASSWORD",
        "COILBOOK_OWNER_PASSWORD",
        "COILBOOK_POSTGRES_PASSWORD",
    }
    assert all(rest.startswith(":?") for _, rest in uses)
    assert re.findall(r"^ +\w*(?:PASSWORD|SECRET_KEY): +(?!\$\{)\S.*", text, re.MULTILINE) == []
    assert re.findall(r"://\w+:(?!\$\{)[^@\s]*@", text) == []


def test_only_the_migrating_service_knows_the_owners_password() -> None:
    holders = {name for name in OWN_SERVICES if "OWNER" in str(SERVICES[name]["environment"])}
    assert holders == {"migrate"}
    assert "--database=owner" in SERVICES["migrate"]["command"]


def test_the_roles_in_the_addresses_are_those_that_the_database_is_made_with() -> None:
    script = (REPOSITORY / "docker" / "postgres-init.sh").read_text()
    made = set(re.findall(r"CREATE ROLE (\w+) LOGIN (?:NOINHERIT )?NOSUPERUSER \w+ \w+ NOBYPASSRLS", script))
    addresses = SERVICES["migrate"]["environment"]
    used = {re.match(r"postgres://(\w+):", addresses[name])[1] for name in ("DATABASE_URL", "DATABASE_OWNER_URL")}  # type: ignore[index]
    assert made == used == {"coilbook_app", "coilbook_owner"}


@pytest.mark.parametrize("service", ["web", "worker", "beat"])
def test_a_service_starts_after_the_migration_and_without_privileges(service: str) -> None:
    definition = SERVICES[service]
    assert definition["depends_on"]["migrate"] == {"condition": "service_completed_successfully"}
    assert definition["cap_drop"] == ["ALL"]
    assert definition["read_only"] is True


def test_the_image_alone_and_the_web_service_serve_with_the_same_words() -> None:
    assert instruction_of_dockerfile("CMD") == SERVICES["web"]["command"]


def test_the_image_installs_hashed_requirements_and_runs_as_an_ordinary_user() -> None:
    dockerfile = (REPOSITORY / "Dockerfile").read_text()
    assert "--require-hashes" in dockerfile
    assert re.findall(r"^USER (\S+)$", dockerfile, re.MULTILINE) == ["coilbook"]
