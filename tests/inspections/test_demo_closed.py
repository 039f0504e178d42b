"""A closed demo stays closed: its rows stay, and a later start does not load it again."""

import os
import subprocess
import sys
from pathlib import Path

from tests.conftest import ROOT

CLOSE = """
import django
django.setup()
from accounts.actors import member_actor
from accounts.services import create_organisation
from inspections.services.demo import close_demo
_, member = create_organisation(slug="own", name="Own", administrator="mo", password="uphill both ways")
assert close_demo(member_actor(member, source="test"))
"""
COUNT = """
import django
django.setup()
from accounts.models import Organisation
from fleet.models import Vehicle
from inspections.services.demo import demo_is_open
print(Organisation.objects.count(), Vehicle.objects.count(), demo_is_open())
"""


def test_up_does_not_load_a_closed_demo_again(tmp_path: Path) -> None:
    environment = os.environ | {
        "COILBOOK_NO_BOOTSTRAP": "1",
        "COILBOOK_VAR_DIR": str(tmp_path),
        "DATABASE_URL": f"sqlite:///{tmp_path / 'coilbook.sqlite3'}",
        "DATABASE_OWNER_URL": "",
        "CELERY_BROKER_URL": "",
        "COILBOOK_CACHE_URL": "",
        "DJANGO_SETTINGS_MODULE": "config.settings",
    }

    def run(*arguments: str) -> str:
        command = [sys.executable, *arguments]
        return subprocess.run(
            command, cwd=ROOT, env=environment, check=True, capture_output=True, text=True
        ).stdout.strip()

    run("manage.py", "up", "--once")
    before = run("-c", COUNT)
    run("-c", CLOSE)
    run("manage.py", "up", "--once")
    organisations, vehicles, is_open = run("-c", COUNT).split()
    assert before == f"1 {vehicles} True"
    assert int(vehicles) > 0
    assert (organisations, is_open) == ("2", "False")
