"""A fleet for the bench of the night, made inside the database: only what the night reads is filled with sense.

The checks lie in the order in which they arrive, as in life.  Their evidence is empty, so that the raw read that the
night is compared with is as fast as it can be.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from django.db import connections, models
from django.utils import timezone

from accounts.models import Depot, Organisation, User
from accounts.owner import owner_alias
from fleet.models import Installation, RatingRevision, Retarder, RetarderType, Vehicle
from inspections.models import Inspection, Meter

VISITS, STAGES, CLAMPS = 12, 4, 50
RATED_A = 35.5
# About normal, mean 0 and standard deviation 1.
_NORMAL = "((random() + random() + random() + random() - 2) * 1.7320508)"
# A healthy unit's own level, the same at each of its checks; one in a hundred loses 4 % a year from its sixth on.
_LEVEL = (
    f"(10000 + 200 * ((i.id * {{prime}} % 1000) / 500.0 - 1) + 100 * {_NORMAL}"
    " - CASE WHEN i.id % 100 = {stage} THEN 100 * greatest(n - 6, 0) ELSE 0 END)::int"
)


def make_fleet(installations: int) -> Organisation:
    """Fill the scratch database with one organisation, its units, and twelve checks of each."""
    owner = owner_alias()
    organisation = Organisation.objects.using(owner).create(slug="bench", name="Bench", is_demo=True)
    user = User.objects.using(owner).create(username="bench")
    of = {"organisation_id": organisation.pk}
    depot = Depot.objects.using(owner).create(**of, name="Bench", time_zone="Europe/London")
    kind = RetarderType.objects.using(owner).create(**of, designation="Bench", stages=STAGES)
    rating = _rating(of, kind.pk)
    clamps = [_clamp(of, number) for number in range(CLAMPS)]
    vehicle = Vehicle(**of, depot_id=depot.pk, system_voltage_v=12)
    _clone(vehicle, {"fleet_number": "'V ' || n"}, f"generate_series(1, {installations}) n")
    retarder = Retarder(**of, retarder_type_id=kind.pk)
    _clone(retarder, {"serial_number": "n::text"}, f"generate_series(1, {installations}) n")
    fitted = "fleet_vehicle v JOIN fleet_retarder r ON v.fleet_number = 'V ' || r.serial_number ORDER BY r.id"
    _clone(Installation(**of), {"retarder_id": "r.id", "vehicle_id": "v.id"}, fitted)
    check = Inspection(
        **of,
        depot_id=depot.pk,
        received_at=timezone.now(),
        recorded_by_id=user.pk,
        purpose="routine",
        engine_state="idle",
        coil_temperature_method="parked",
        voltmeter_id=clamps[0].pk,
        evidence={},
        content_hash="0" * 64,
        signed_at=timezone.now(),
        signed_by_id=user.pk,
        verdict="pass",
        decision_rule="guarded",
        rating_revision_id=rating.pk,
        method_version="bench",
        u_meter=115,
        u_visit=117,
    )
    with _plain_table():
        visits = f"generate_series(1, {VISITS}) n CROSS JOIN fleet_installation i ORDER BY n"
        _clone(check, _check_columns(clamps), visits)
    tidy()
    return organisation


def tidy() -> None:
    """Sweep up what earlier rounds have left, as the server does by itself in life."""
    with connections[owner_alias()].cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")


def lengthen_a_history(organisation: Organisation, checks: int) -> None:
    """Give one unit so many checks more, one a day."""
    last = Inspection.objects.using(owner_alias()).filter(organisation=organisation).order_by("-pk")[0]
    at = f"timestamptz '{last.performed_at.isoformat()}' + n * interval '1 day'"
    daily = {"performed_at": at, "performed_on": f"({at})::date"}
    _clone(last, daily, f"generate_series(1, {checks}) n")


def everything_changes(organisation: Organisation) -> None:
    """Make every unit have news and every stored trend differ from what will be found."""
    with connections[owner_alias()].cursor() as cursor:
        cursor.execute("UPDATE inspections_trend SET next_check_on = '2000-01-01'")
    put_on_the_list(organisation, 1)


def put_on_the_list(organisation: Organisation, of_one_in: int) -> None:
    """Make one of so many units have news."""
    with connections[owner_alias()].cursor() as cursor:
        cursor.execute(
            "INSERT INTO inspections_trendnews (organisation_id, retarder_id, mark) "
            "SELECT organisation_id, id, 1 FROM fleet_retarder WHERE organisation_id = %s AND id %% %s = 0",
            [organisation.pk, of_one_in],
        )
    tidy()


def _check_columns(clamps: Sequence[Meter]) -> dict[str, str]:
    at = "timestamptz '2023-01-02 08:00Z' + n * interval '91 days' + (i.id * 7919 % 60) * interval '1 day'"
    primes = (7919, 104729, 15485863, 32452843)
    levels = {f"level_{k}": _LEVEL.format(prime=primes[k - 1], stage=k) for k in range(1, STAGES + 1)}
    return {
        "installation_id": "i.id",
        "performed_at": at,
        "performed_on": f"({at})::date",
        "ammeter_id": f"{clamps[0].pk} + (i.id + n / 5) % {CLAMPS}",
        **levels,
        **{f"u_{k}": "360" for k in range(1, STAGES + 1)},
        "upstream_uohm": f"(5000 + 100 * {_NORMAL})::int",
        "u_upstream_uohm": "400",
        "shared_ground_uohm": f"(1200 + 100 * {_NORMAL})::int",
        "u_shared_ground_uohm": "500",
    }


def _rating(of: Mapping[str, int], kind: int) -> RatingRevision:
    return RatingRevision.objects.using(owner_alias()).create(
        **of,
        retarder_type_id=kind,
        number=1,
        rated_currents_a=[RATED_A] * STAGES,
        reference_voltage_v=14.0,
        reference_voltage_basis="stated",
        tolerance_lower_percent=10.0,
        tolerance_upper_percent=10.0,
        system_voltage_v=12,
        coils_in_series=2,
        coils_in_parallel=2,
    )


def _clamp(of: Mapping[str, int], number: int) -> Meter:
    figures = {"accuracy_percent": 2.0, "accuracy_counts": 5.0, "resolution": 0.1}
    return Meter.objects.using(owner_alias()).create(**of, kind="ammeter", designation=f"Clamp {number}", **figures)


@contextmanager
def _plain_table() -> Iterator[None]:
    """Fill the table of checks without what slows that down, none of which the night uses.

    Each of millions of checks would be looked up in eight tables and sorted into thirteen indexes.  The night writes no
    check, and finds checks by what they belong to: those indexes are built afterwards, at once.
    """
    with connections[owner_alias()].cursor() as cursor:
        cursor.execute(
            "SELECT conname FROM pg_constraint"
            " WHERE conrelid = 'inspections_inspection'::regclass AND contype IN ('f', 'u')"
        )
        for (name,) in cursor.fetchall():
            cursor.execute(f'ALTER TABLE inspections_inspection DROP CONSTRAINT "{name}"')
        cursor.execute(
            "SELECT indexname, indexdef FROM pg_indexes WHERE tablename = 'inspections_inspection'"
            " AND indexname NOT LIKE '%%_pkey'"
        )
        indexes = dict(cursor.fetchall())
        for name in indexes:
            cursor.execute(f'DROP INDEX "{name}"')
        yield
        for definition in indexes.values():
            if "(installation_id" in definition:
                cursor.execute(definition)


def _clone(template: models.Model, expressions: Mapping[str, str], source: str) -> None:
    """Insert a row like the template for each row of a source, some columns worked out there."""
    connection = connections[owner_alias()]
    expressions = {"uuid": "gen_random_uuid()", "changed_at": "now()", **expressions}
    columns, values, parameters = [], [], list[Any]()
    for field in template._meta.concrete_fields:
        if field.primary_key:
            continue
        columns.append(f'"{field.column}"')
        if field.column in expressions:
            values.append(expressions[field.column].replace("%", "%%"))
        else:
            values.append("%s")
            parameters.append(field.get_db_prep_save(getattr(template, field.attname), connection))
    with connection.cursor() as cursor:
        statement = f'INSERT INTO "{template._meta.db_table}" ({", ".join(columns)}) SELECT {", ".join(values)} '
        cursor.execute(f"{statement} FROM {source}", parameters)
