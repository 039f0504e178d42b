"""How many stored checks a minute are judged anew: read, judged, stored beside the old, each with its audit entry."""

import datetime as dt
from time import perf_counter, process_time
from typing import Any

from django.db import connection

from accounts.actors import system_actor
from accounts.models import Organisation
from accounts.queries import organisation_called
from accounts.tenancy import organisation_transaction
from inspections.bench.database import database_of_its_own
from inspections.services.rejudging import Terms
from inspections.services.rejudging_runs import (
    ask_rejudging,
    counted_changes,
    decided_rejudging,
    run_rejudging,
)
from inspections.services.simulating import simulate_fleet
from inspections.simulation.planted import PlantedFleet

SEED = 20_261_125
CHECKS_EACH = 10
INSTALLATIONS = {"small": 100, "full": 1_000}
SLUG = "bench"
AIM_A_MINUTE = 10_000
SECONDS = 60.0


def bench_rejudging(size: str) -> dict[str, Any]:
    """Return how long a simulated book takes to compare, and to store, under another rule; one runner."""
    with database_of_its_own():
        fleet = PlantedFleet(
            installations=INSTALLATIONS[size], inspections=CHECKS_EACH, seed=SEED, until=dt.date(2026, 1, 1)
        )
        simulate_fleet(fleet, slug=SLUG)
        organisation = organisation_called(SLUG)
        if organisation is None:
            raise LookupError(SLUG)
        return {
            "engine": connection.vendor,
            "checks": INSTALLATIONS[size] * CHECKS_EACH,
            "aim_a_minute": AIM_A_MINUTE,
            **_timed("compared", organisation),
            **_timed("stored", organisation),
        }


def _timed(what: str, organisation: Organisation) -> dict[str, Any]:
    actor = system_actor(organisation, source="bench")
    terms = Terms(reason="bench", decision_rule="simple")
    with organisation_transaction(organisation):
        if what == "stored":
            row = decided_rejudging(actor, selection={}, terms=terms)
        else:
            row, _created = ask_rejudging(actor, selection={}, terms=terms)
    started, worked = perf_counter(), process_time()
    run_rejudging(organisation, row)
    wall_s, process_s = perf_counter() - started, process_time() - worked
    with organisation_transaction(organisation):
        changed = sum(counted_changes(row).values())
    return {
        f"{what}_a_minute": row.judged / wall_s * SECONDS,
        f"{what}_a_minute_of_processor": row.judged / process_s * SECONDS,
        f"{what}_changed": changed,
    }


def rejudging_table(figures: dict[str, Any]) -> str:
    """Return the figures in lines."""
    lines = [f"  {figures['engine']}, {figures['checks']:,} simulated checks under the simple rule, one runner"]
    for what in ("compared", "stored"):
        lines.append(
            f"  {what}: {figures[f'{what}_a_minute']:,.0f} a minute, "
            f"{figures[f'{what}_a_minute_of_processor']:,.0f} in a minute of its processor time "
            f"(aim {figures['aim_a_minute']:,}); {figures[f'{what}_changed']} with another verdict"
        )
    return "\n".join(lines)
