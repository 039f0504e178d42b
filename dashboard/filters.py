"""What lists can be narrowed by; every filter stands in the address, so that a view can be kept and passed on."""

import datetime as dt
from typing import Any

import django_filters as filters
from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from accounts.models import TOKEN_SCOPES, ApiToken, Member
from dashboard.filtering import BookFilter, DayFilter, choice, depot_filter, matching, members_of, vehicle_columns
from fleet.models import RetarderType, Vehicle
from inspections.models import VERDICTS, Decline, Defect, Inspection, Meter
from inspections.needs import NEEDS, end_of_week
from schedules.models import DUE_STATES, Reminder

SERVICE = [("in_service", _("in service")), ("off_the_road", _("off the road"))]
SIGNED = [("yes", _("signed")), ("no", _("not signed"))]
DEFECT_SCOPES = [("open", _("open, in service")), ("off_the_road", _("open, off the road")), ("closed", _("closed"))]
DATED = [("yes", _("with a date")), ("no", _("without a date"))]
DECLINE_SCOPES = [("running", _("running")), ("ended", _("ended")), *Decline.STATES]
DELIVERY = [("seen", _("seen")), ("sent", _("sent, not seen")), ("waiting", _("not sent"))]
CALIBRATION = [("valid", _("calibrated")), ("lapsed", _("calibration lapsed")), ("none", _("no calibration date"))]


def due_in_week(ends_on: dt.date, *, this_week: bool) -> Q:
    """Return what is due in a week; this week also holds what was due before and is not overdue yet by the book."""
    begins_on = dt.date.min if this_week else ends_on - dt.timedelta(days=6)
    return Q(due_on__range=(begins_on, ends_on)) & ~Q(state="overdue")


class VehicleFilter(BookFilter):
    """Vehicles by number, depot and whether they are in service."""

    columns = vehicle_columns()
    depot = depot_filter("depot")
    service = choice(_("Service"), SERVICE, method="filter_service")

    class Meta:
        model = Vehicle
        fields: list[str] = []

    def filter_text(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        """Look in the serial numbers of the units too, without naming a vehicle twice."""
        own = Vehicle.objects.of(self.request.organisation)
        by_unit = matching(
            own.filter(installations__removed_on__isnull=True),
            value,
            {"plain_serial": "installations__retarder__serial_number"},
        )
        by_number = matching(own, value, self.columns)
        return rows.filter(Q(pk__in=by_number.values("pk")) | Q(pk__in=by_unit.values("pk")))

    def filter_service(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        """Keep what is, or is not, in service."""
        return rows.filter(in_service=value == "in_service")


class UnitFilter(BookFilter):
    """Installations in service by what they need."""

    columns = vehicle_columns("vehicle__", "retarder__serial_number")
    depot = depot_filter("vehicle__depot")
    need = choice(_("Need"), NEEDS)

    class Meta:
        fields: list[str] = []


class InspectionFilter(BookFilter):
    """Checks by vehicle, verdict, day and signature."""

    columns = vehicle_columns("installation__vehicle__", "installation__retarder__serial_number")
    depot = depot_filter("depot")
    verdict = choice(_("Verdict"), VERDICTS)
    signed = choice(_("Signed"), SIGNED, method="filter_signed")
    since = DayFilter(field_name="performed_on", lookup_expr="gte", label=_("From"))
    until = DayFilter(field_name="performed_on", lookup_expr="lte", label=_("To"))

    class Meta:
        model = Inspection
        fields: list[str] = []

    def filter_signed(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        """Keep what is, or is not, signed."""
        return rows.filter(signed_at__isnull=value == "no")


class ToSignFilter(BookFilter):
    """Checks that wait for a signature, by vehicle, verdict and depot."""

    columns = vehicle_columns("installation__vehicle__", "installation__retarder__serial_number")
    depot = depot_filter("depot")
    verdict = choice(_("Verdict"), VERDICTS)

    class Meta:
        model = Inspection
        fields: list[str] = []


class DefectFilter(BookFilter):
    """Defects by vehicle and whether they are open; without a choice, what is open on vehicles in service."""

    columns = vehicle_columns("installation__vehicle__", "installation__retarder__serial_number")
    depot = depot_filter("installation__vehicle__depot")
    state = filters.ChoiceFilter(label=_("State"), choices=DEFECT_SCOPES, empty_label=None, method="filter_state")

    class Meta:
        model = Defect
        fields: list[str] = []

    def filter_queryset(self, queryset: QuerySet[Any]) -> QuerySet[Any]:
        """Take the first scope where none is chosen."""
        rows: QuerySet[Any] = super().filter_queryset(queryset)
        return rows if self.form.cleaned_data.get("state") else self.filter_state(rows, "state", "open")

    def filter_state(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        """Keep one scope."""
        if value == "closed":
            return rows.filter(closed_at__isnull=False)
        in_service = value == "open"
        on_the_road = Q(installation__vehicle__in_service=True, installation__removed_on__isnull=True)
        return rows.filter(on_the_road if in_service else ~on_the_road, closed_at__isnull=True)


class DueFilter(BookFilter):
    """Due dates by vehicle, state and week."""

    columns = vehicle_columns("installation__vehicle__", "installation__retarder__serial_number")
    depot = depot_filter("depot")
    state = choice(_("State"), DUE_STATES)
    week = DayFilter(method="filter_week", label=_("Week of"))
    since = DayFilter(field_name="due_on", lookup_expr="gte", label=_("From"))
    dated = choice(_("Date"), DATED, method="filter_dated")

    class Meta:
        fields: list[str] = []

    def filter_week(self, rows: QuerySet[Any], name: str, value: dt.date) -> QuerySet[Any]:
        """Keep what is due in the week of a day; what is overdue has a column of its own."""
        return rows.filter(due_in_week(end_of_week(value), this_week=value <= end_of_week(timezone.now().date())))

    def filter_dated(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        """Keep what has, or has not, a date."""
        return rows.filter(due_on__isnull=value == "no")


class DeclineFilter(BookFilter):
    """Declines by vehicle, cause and state; without a choice, those that nothing has ended."""

    columns = vehicle_columns("installation__vehicle__", "installation__retarder__serial_number")
    depot = depot_filter("installation__vehicle__depot")
    attribution = choice(_("Where"), Decline.ATTRIBUTIONS)
    state = filters.ChoiceFilter(label=_("State"), choices=DECLINE_SCOPES, empty_label=None, method="filter_state")

    class Meta:
        model = Decline
        fields: list[str] = []

    def filter_queryset(self, queryset: QuerySet[Any]) -> QuerySet[Any]:
        """Take the first scope where none is chosen."""
        rows: QuerySet[Any] = super().filter_queryset(queryset)
        return rows if self.form.cleaned_data.get("state") else self.filter_state(rows, "state", "running")

    def filter_state(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        """Keep what runs, what has ended, or one state."""
        return (
            rows.filter(ended_at__isnull=value == "running")
            if value in ("running", "ended")
            else rows.filter(state=value)
        )


class ReminderFilter(BookFilter):
    """Reminders by vehicle, person and delivery."""

    columns = vehicle_columns("installation__vehicle__", "installation__retarder__serial_number")
    person = filters.ModelChoiceFilter(
        queryset=members_of, to_field_name="uuid", label=_("Person"), empty_label=_("all")
    )
    delivery = choice(_("Delivery"), DELIVERY, method="filter_delivery")

    class Meta:
        model = Reminder
        fields: list[str] = []

    def filter_delivery(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        """Keep how far a reminder has come."""
        if value == "seen":
            return rows.filter(seen_at__isnull=False)
        return rows.filter(seen_at__isnull=True, sent_at__isnull=value == "waiting")


class MeterFilter(BookFilter):
    """Test meters by what is written on them and by their calibration."""

    columns = {"plain_designation": "designation", "plain_serial": "serial_number"}
    kind = choice(_("Kind"), Meter.KINDS)
    calibration = choice(_("Calibration"), CALIBRATION, field_name="calibration_state")

    class Meta:
        model = Meter
        fields: list[str] = []


class RatingFilter(BookFilter):
    """Retarder types by name."""

    columns = {"plain_designation": "designation"}

    class Meta:
        model = RetarderType
        fields: list[str] = []


class MemberFilter(BookFilter):
    """People by name and role."""

    columns = {"plain_username": "user__username", "plain_first": "user__first_name", "plain_last": "user__last_name"}
    role = choice(_("Role"), Member._meta.get_field("role").choices)

    class Meta:
        model = Member
        fields: list[str] = []


class TokenFilter(BookFilter):
    """Tokens by what they are for, whose they are and what they may."""

    columns = {"plain_name": "name", "plain_username": "user__username"}
    scope = choice(_("May"), TOKEN_SCOPES)

    class Meta:
        model = ApiToken
        fields: list[str] = []
