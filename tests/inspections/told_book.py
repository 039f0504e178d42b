"""A small book that was written by the services alone: at least one row of every tracked table."""

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal
from io import BytesIO
from typing import Any
from uuid import UUID, uuid4

from PIL import Image

from accounts.actors import Actor, member_actor
from accounts.models import Member, Organisation, User
from accounts.roles import Role
from accounts.services.invitations import invite
from accounts.services.members import add_member
from accounts.services.organisations import add_depot, create_organisation
from accounts.services.tokens import issue_token
from fleet.models import Installation, RetarderType
from fleet.services import (
    add_counter,
    add_relay_box_type,
    add_retarder,
    add_retarder_type,
    add_vehicle,
    fit_retarder,
    record_counter_reading,
    revise_rating,
)
from inspections.models import Defect, Meter
from inspections.services.calibrations import record_calibration
from inspections.services.comparisons import record_comparison
from inspections.services.defect_life import decide_release, record_repair
from inspections.services.driver_reports import issue_driver_link, report_by_driver
from inspections.services.extra import add_extra_reading
from inspections.services.limits import set_limits, set_rule
from inspections.services.meters import add_meter
from inspections.services.photos import add_photo
from inspections.services.record import record_inspection
from inspections.services.rejudging import Terms
from inspections.services.rejudging_runs import judge_anew_at_once
from inspections.services.signing import sign_inspection
from schedules.services.plans import add_check_plan, change_check_plan
from tests import builders
from tests.naming import name

FIRST_AT = dt.datetime(2026, 3, 2, 9, 30, tzinfo=dt.UTC)
RATING = {
    "reference_voltage_v": 14.0,
    "reference_voltage_basis": "stated",
    "tolerance_lower_percent": 10.0,
    "tolerance_upper_percent": 10.0,
    "system_voltage_v": 12,
    "coils_in_series": 2,
    "coils_in_parallel": 2,
    "sources": {"rated_currents_a": "plate (test)"},
}


@dataclass(frozen=True)
class Book:
    """The organisation, its administrator acting, and what the checks are about."""

    organisation: Organisation
    actor: Actor
    installation: Installation
    kind: RetarderType
    ammeter: Meter
    voltmeter: Meter

    def organisation_members(self) -> list[Member]:
        """Return the members, the administrator first."""
        return list(Member.objects.of(self.organisation).select_related("user").order_by("pk"))

    def document(self, *, days: int = 0, **fields: Any) -> dict[str, Any]:
        """Return a check of the unit, parsed as a door would hand it over."""
        workshop = builders.Workshop(self.organisation, self.installation, self.ammeter, self.voltmeter)
        document = builders.inspection_document(workshop, **fields)
        ids = {"id": UUID(document["id"]), "installation": UUID(document["installation"])}
        meters = {kind: UUID(document[kind]) for kind in ("ammeter", "voltmeter")}
        return document | ids | meters | {"performed_at": FIRST_AT + dt.timedelta(days=days)}


def told_book() -> Book:
    """Write the book."""
    book = _on_file(f"told-{uuid4().hex[:8]}")
    _failed_repaired_and_tested_again(book)
    _replaced_and_judged_anew(book)
    return book


def _on_file(slug: str) -> Book:
    # People who exist already: working out a password's digest would take as long as all the rest.
    for username in (f"admin-{slug}", f"tech-{slug}"):
        User.objects.create(username=username)
    organisation, administrator = create_organisation(
        slug=slug, name="Quarry", administrator=f"admin-{slug}", password=None
    )
    name(organisation)
    actor = member_actor(administrator, source="test")
    add_member(actor, username=f"tech-{slug}", password=None, role=Role.TECHNICIAN)
    invite(actor, name="Sam Ple", role=Role.VIEWER, answer_at="https://example.org/invitation/")
    issue_token(username=administrator.user.username, organisation=slug)
    vehicle = add_vehicle(
        actor,
        depot=add_depot(actor, name="North", time_zone="Europe/London"),
        fleet_number="Q 1",
        system_voltage_v=12,
    )
    kind = add_retarder_type(actor, designation="Alder, 4 stages", rated_currents_a=[35.5] * 4, **RATING)
    box = add_relay_box_type(
        actor,
        designation="Box",
        stages=4,
        drive="relay",
        control_input="positive_switched",
        fuses="per_stage",
        outputs_by_input=[[1], [2], [3], [4]],
        lamps=4,
    )
    unit = fit_retarder(
        actor,
        retarder=add_retarder(actor, retarder_type=kind, serial_number="S 1"),
        vehicle=vehicle,
        relay_box_type=box,
        fitted_on=builders.FITTED_ON,
    )
    counter = add_counter(actor, vehicle=vehicle, kind="odometer")
    record_counter_reading(actor, counter=counter, read_on=FIRST_AT.date(), value=5)
    plan = add_check_plan(actor, installation=unit, months=6)
    change_check_plan(actor, plan, months=5)
    clamp = add_meter(actor, kind="ammeter", designation="Clamp", **builders.CLAMP)
    voltmeter = add_meter(actor, kind="voltmeter", designation="Voltmeter", **builders.VOLTMETER)
    other = add_meter(actor, kind="ammeter", designation="Other clamp", **builders.CLAMP)
    record_calibration(actor, clamp, performed_on=dt.date(2026, 1, 5), due_on=dt.date(2027, 1, 5))
    record_comparison(
        actor,
        first=clamp.uuid,
        second=other.uuid,
        compared_on=FIRST_AT.date(),
        readings=[{"first": 30.0, "second": 30.2}],
    )
    link = issue_driver_link(actor, vehicle)
    report_by_driver(link, report_id=uuid4(), code="driver_weaker", words="weak downhill")
    set_rule(actor, decision_rule="simple", max_false_accept_probability=None, calibration_required=False)
    # A door takes the organisation anew with each request.
    organisation.refresh_from_db()
    set_limits(actor, opened=0, limits={"12": {"charging_low_v": Decimal("13.2")}})
    return Book(organisation, actor, unit, kind, clamp, voltmeter)


def _failed_repaired_and_tested_again(book: Book) -> None:
    readings = builders.single_pass()
    readings[1] = readings[1] | {"current_a": 20.0}
    failed = record_inspection(book.actor, book.document(stage_readings=readings)).inspection
    reading = {"id": uuid4(), "kind": "output_voltage", "stage": 2, "value": 13.1, "energised": [2]}
    add_extra_reading(book.actor, failed.uuid, reading)
    add_photo(book.actor, failed, sent=a_picture(), photo_id=uuid4(), caption="stage lead")
    defect = Defect.objects.get(found_by=failed, stage=2)
    decide_release(book.actor, defect, decision="isolated", until=dt.date(2026, 4, 1), reason="not on the pass")
    record_repair(book.actor, defect, done="joint cleaned")
    retest = book.document(days=1, purpose="retest", retest_of=[defect.uuid], sign=False)
    record_inspection(book.actor, retest)
    sign_inspection(book.actor, retest["id"])


def a_picture() -> bytes:
    """Return a small picture as a phone might send it."""
    file = BytesIO()
    Image.new("RGB", (30, 20), "navy").save(file, "JPEG")
    return file.getvalue()


def _replaced_and_judged_anew(book: Book) -> None:
    first = record_inspection(book.actor, book.document(days=2)).inspection
    record_inspection(book.actor, book.document(days=2, supersedes=first.uuid, supersede_reason="mistyped"))
    revise_rating(book.actor, book.kind, reason="plate read again", rated_currents_a=[34.0] * 4, **RATING)
    judge_anew_at_once(book.actor, selection={}, terms=Terms("new rating"))
