"""Workers killed in the middle of a night: the next one ends where an undisturbed night would have ended."""

import os
import signal
from typing import LiteralString
from urllib.parse import urlsplit

import psycopg
import pytest
from celery import Celery
from django.conf import settings

from inspections.tasks import run_night
from tests.config.test_worker_killed import said, until, worker

UNITS = 8
# Two fleets alike; the night of the first is left in peace, that of the second is disturbed.  No due date is so near
# that it would come out otherwise on the next day.
PREPARE = f"""
import django; django.setup()
from accounts.tenancy import organisation_transaction
from inspections.services.trends import refresh_trends
from tests import builders
from tests.inspections.losing_fleet import installations_of, losing_fleet
undisturbed, disturbed = losing_fleet({UNITS}).organisation, losing_fleet({UNITS}).organisation
for each in (undisturbed, disturbed):
    with organisation_transaction(each):
        for installation in installations_of(each):
            builders.check_plan(installation, months=240)
refresh_trends(undisturbed)
print(undisturbed.pk, disturbed.pk)
"""
IN_SMALL_CHUNKS = "--include=tests.config.small_chunks"
FOUND = """
import django; django.setup()
from accounts.models import Organisation
from tests.inspections.losing_fleet import due_dates_of, found_in
for organisation in (Organisation(pk={}), Organisation(pk={})):
    print(due_dates_of(organisation), found_in(organisation))
"""
WAITING = """
SELECT count(*) FROM pg_locks l JOIN pg_stat_activity a USING (pid)
WHERE NOT l.granted AND a.datname = current_database()
"""
# An OFFSET beside FOR UPDATE would lock the rows it skips as well.
HOLD_NEWS = """
SELECT 1 FROM inspections_trendnews WHERE retarder_id = (
    SELECT retarder_id FROM inspections_trendnews ORDER BY retarder_id OFFSET 5 LIMIT 1) FOR UPDATE
"""
# As whoever works out a due date does, and so that rows that name the installation can be written.
HOLD_INSTALLATION = """
SELECT 1 FROM fleet_installation WHERE id = (
    SELECT min(id) FROM fleet_installation WHERE organisation_id = %s) FOR NO KEY UPDATE
"""
# As if the dead worker's claims were as old as claims may get.
LAPSE = """
UPDATE inspections_trendchunk SET claimed_at = claimed_at - interval '1 day' WHERE finished_at IS NULL;
UPDATE inspections_duedatechunk SET claimed_at = claimed_at - interval '1 day' WHERE finished_at IS NULL;
UPDATE accounts_workrun SET claimed_at = claimed_at - interval '1 day' WHERE state = 'running'
"""


LEFT = "SELECT count(*) FROM inspections_duedatechunk WHERE finished_at IS NULL"
DATED = "SELECT count(*) FROM schedules_duedate WHERE organisation_id = %s AND plan_id IS NOT NULL"
DONE = "SELECT count(*) FROM accounts_workrun WHERE state = 'done'"


def ask_for_a_night(environment: dict[str, str]) -> None:
    """Leave the message that a night is to be done, as the clock of the service would."""
    app = Celery(broker=environment["CELERY_BROKER_URL"], set_as_current=False)
    app.conf.broker_transport_options = {"global_keyprefix": f"{environment['COILBOOK_KEY_PREFIX']}:"}
    app.send_task(run_night.name, queue=environment["COILBOOK_QUEUE"])
    app.close()


def test_a_night_that_was_killed_ends_like_one_that_was_not(process_environment: dict[str, str]) -> None:
    if not settings.CELERY_BROKER_URL:
        pytest.skip("needs a broker")
    environment = process_environment | {"DJANGO_SETTINGS_MODULE": "config.settings"}
    undisturbed, disturbed = said(PREPARE, environment).split()
    address = urlsplit(environment["DATABASE_OWNER_URL"])._replace(scheme="postgresql").geturl()
    with psycopg.connect(address, autocommit=True) as watching, psycopg.connect(address) as holding:

        def count(query: LiteralString, *parameters: object) -> int:
            (number,) = watching.execute(query, parameters).fetchone() or (0,)
            return int(number)

        # The last unit of the third chunk of trends is held, so that the worker gets no further than into its write.
        holding.execute(HOLD_NEWS)
        with worker(environment, IN_SMALL_CHUNKS) as first:
            ask_for_a_night(environment)
            until(lambda: count(WAITING) > 0, seconds=90)
            os.killpg(first.pid, signal.SIGKILL)
        holding.rollback()
        assert count("SELECT count(*) FROM inspections_trendnews") == 4
        assert count(DATED, disturbed) == 0
        watching.execute(LAPSE)

        # A unit of the first chunk of due dates is held, and whichever of two processes takes that one gets no further:
        # it is the other that does all the rest.
        holding.execute(HOLD_INSTALLATION, [disturbed])
        with worker(environment, IN_SMALL_CHUNKS, "--concurrency", "2") as second:
            ask_for_a_night(environment)
            until(lambda: count(WAITING) > 0 and count(DATED, disturbed) == UNITS - 2, seconds=90)
            os.killpg(second.pid, signal.SIGKILL)
        holding.rollback()
        assert count("SELECT count(*) FROM inspections_trendnews") == 0
        assert (count(LEFT), count(DATED, disturbed), count(DONE)) == (1, UNITS - 2, 0)
        watching.execute(LAPSE)

        with worker(environment, IN_SMALL_CHUNKS):
            ask_for_a_night(environment)
            until(lambda: count(DONE) > 0, seconds=90)
        assert count("SELECT count(*) FROM inspections_decline") > 0
        assert (count(LEFT), count(DATED, disturbed)) == (0, UNITS)
    one, other = said(FOUND.format(undisturbed, disturbed), environment).splitlines()
    assert one == other
