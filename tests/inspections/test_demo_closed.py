"""A closed demo stays closed: its rows stay, and a later start does not load it again."""

import subprocess
import sys
from pathlib import Path

from tests.config.processes import query
from tests.conftest import ROOT
from tests.databases import Databases, own_environment

CLOSE = """
import django
django.setup()
from accounts.actors import member_actor
from accounts.services import create_organisation
from inspections.services.demo import close_demo
_, member = create_organisation(slug="own", name="Own", administrator="mo", password="uphill both ways")
assert close_demo(member_actor(member, source="test"))
"""
COUNT = "SELECT (SELECT count(*) FROM accounts_organisation), (SELECT count(*) FROM fleet_vehicle)"
IS_OPEN = """
import django
django.setup()
from inspections.services.demo import demo_is_open
print(demo_is_open())
"""


def test_up_does_not_load_a_closed_demo_again(tmp_path: Path, databases: Databases) -> None:
    with databases.with_demo_book("closed") as name:
        environment = own_environment(tmp_path, name) | {"DJANGO_SETTINGS_MODULE": "config.settings"}

        def run(*arguments: str) -> str:
            command = [sys.executable, *arguments]
            return subprocess.run(
                command, cwd=ROOT, env=environment, check=True, capture_output=True, text=True
            ).stdout.strip()

        ((before, vehicles),) = query(environment, COUNT)
        assert run("-c", IS_OPEN) == "True"
        run("-c", CLOSE)
        run("manage.py", "up", "--once")
        assert query(environment, COUNT) == [(before + 1, vehicles)]
        assert vehicles > 0
        assert run("-c", IS_OPEN) == "False"
