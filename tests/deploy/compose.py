"""The compose file as the tests read it."""

import json
import re
from pathlib import Path
from typing import Any

import yaml

REPOSITORY = Path(__file__).resolve().parents[2]
COMPOSE_FILE = REPOSITORY / "docker-compose.yml"
COMPOSE: dict[str, Any] = yaml.safe_load(COMPOSE_FILE.read_text())
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
OWN_SERVICES = ("web", "worker", "beat", "migrate")


def instruction_of_dockerfile(name: str, *, of: str = "") -> list[str]:
    """Return the words of the one instruction `name`, or of the one that belongs to another instruction."""
    text = (REPOSITORY / "Dockerfile").read_text().replace("\\\n", " ")
    (words,) = re.findall(rf"^{of}.*?{name} (\[.*\])$" if of else rf"^{name} (\[.*\])$", text, re.MULTILINE)
    found: list[str] = json.loads(words)
    return found
