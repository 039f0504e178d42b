"""A worker killed in the middle of a night: the next one ends where an undisturbed night would have ended."""

import os
import signal
from urllib.parse import urlsplit

import psycopg
import pytest
from django.conf import settings

from tests.config.test_worker_killed import said, until, worker

# Two fleets alike; the night of the first is left in peace, that of the second is cut into small chunks.
PREPARE = """
import django; django.setup()
from inspections.services.trends import refresh_trends
from tests.inspections.losing_fleet import losing_fleet
undisturbed, disturbed = losing_fleet(8).organisation, losing_fleet(8).organisation
refresh_trends(undisturbed)
print(undisturbed.pk, disturbed.pk)
"""
IN_SMALL_CHUNKS = "--include=tests.config.small_chunks"
NIGHT = "import django; django.setup()\nfrom inspections.tasks import run_night; run_night.delay()"
FOUND = """
import django; django.setup()
from accounts.models import Organisation
from tests.inspections.losing_fleet import found_in
print(found_in(Organisation(pk={})))
"""
WAITING = """
SELECT count(*) FROM pg_locks l JOIN pg_stat_activity a USING (pid)
WHERE NOT l.granted AND a.datname = current_database()
"""
# An OFFSET beside FOR UPDATE would lock the rows it skips as well.
HOLD = """
SELECT 1 FROM inspections_trendnews WHERE retarder_id = (
    SELECT retarder_id FROM inspections_trendnews ORDER BY retarder_id OFFSET 5 LIMIT 1) FOR UPDATE
"""
# As if the dead worker's claims were as old as claims may get.
LAPSE = """
UPDATE inspections_trendchunk SET claimed_at = claimed_at - interval '1 day' WHERE finished_at IS NULL;
UPDATE accounts_workrun SET claimed_at = claimed_at - interval '1 day' WHERE state = 'running'
"""


def test_a_night_that_was_killed_ends_like_one_that_was_not(process_environment: dict[str, str]) -> None:
    if not settings.CELERY_BROKER_URL:
        pytest.skip("needs a broker")
    environment = process_environment | {"DJANGO_SETTINGS_MODULE": "config.settings"}
    undisturbed, disturbed = said(PREPARE, environment).split()
    address = urlsplit(environment["DATABASE_OWNER_URL"])._replace(scheme="postgresql").geturl()
    with psycopg.connect(address, autocommit=True) as watching, psycopg.connect(address) as holding:

        def count(query: str) -> int:
            (number,) = watching.execute(query).fetchone() or (0,)
            return int(number)

        # The last unit of the third chunk is held, so that the worker gets no further than into its write.
        holding.execute(HOLD)
        with worker(environment, IN_SMALL_CHUNKS) as first:
            said(NIGHT, environment)
            until(lambda: count(WAITING) > 0, seconds=90)
            os.killpg(first.pid, signal.SIGKILL)
        holding.rollback()
        assert count("SELECT count(*) FROM inspections_trendnews") == 4
        assert said(FOUND.format(disturbed), environment) != said(FOUND.format(undisturbed), environment)
        watching.execute(LAPSE)
        with worker(environment, IN_SMALL_CHUNKS):
            said(NIGHT, environment)
            until(lambda: count("SELECT count(*) FROM accounts_workrun WHERE state = 'done'") > 0, seconds=90)
        assert count("SELECT count(*) FROM inspections_trendnews") == 0
        assert count("SELECT count(*) FROM inspections_decline") > 0
    assert said(FOUND.format(disturbed), environment) == said(FOUND.format(undisturbed), environment)
