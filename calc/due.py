"""When the next check of an installation is due: months, days, km or engine hours, whichever comes first.

Dates are local dates of the depot.  A check is due all that day and overdue from the next local midnight.  The km and
hours limbs are reached by a reading, never by a prediction; a prediction only says when that is likely to happen.
"""

from calendar import monthrange
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import ceil
from typing import Literal
from zoneinfo import ZoneInfo

from calc.usage import CounterReading, readings_without_drops, usage_at, usage_per_day

Limb = Literal["months", "days", "km", "hours"]
State = Literal["cannot_tell", "not_due", "in_notice", "due", "overdue"]

LIMB_ORDER: tuple[Limb, ...] = ("months", "days", "km", "hours")
RELATIVE_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True)
class Plan:
    """Check every so many months, days, km or engine hours; at least one of them.

    With `anchor_on` the months limb keeps to a fixed calendar: `anchor_on` plus whole multiples of `months`.
    """

    months: int | None = None
    days: int | None = None
    km: float | None = None
    hours: float | None = None
    lead_days: int = 30
    anchor_on: date | None = None

    def __post_init__(self) -> None:
        given = {limb: value for limb in LIMB_ORDER if (value := getattr(self, limb)) is not None}
        if not given:
            raise ValueError("a check plan needs months, days, km or hours")
        for limb, value in given.items():
            if value <= 0:
                raise ValueError(f"{limb} is {value}; it must be greater than 0")
        if self.lead_days < 0:
            raise ValueError(f"lead_days is {self.lead_days}; it must not be negative")
        if self.anchor_on is not None and self.months is None:
            raise ValueError("anchor_on needs months: only the months limb keeps to a fixed calendar")


@dataclass(frozen=True, slots=True)
class LimbDue:
    """What one limb of the plan says.

    `due_on` is the date of the calendar limbs, the date of the reading that reached a km or hours limb, or the
    predicted date of one not reached yet (None without a usable rate).  `due_value` is the counter value of a km or
    hours limb, [km] or [h].
    """

    limb: Limb
    due_on: date | None
    reached: bool
    predicted: bool = False
    due_value: float | None = None


@dataclass(frozen=True, slots=True)
class Due:
    """When the next check is due, which limb makes it so, and what every limb says."""

    due_on: date | None
    limb: Limb | None
    state: State
    overdue_days: int
    limbs: Mapping[Limb, LimbDue]
    reached: tuple[Limb, ...]


def add_months(anchor: date, months: int) -> date:
    """Return `anchor` moved by whole months, clipped to the end of a shorter month.

    Parameters
    ----------
    anchor : date
        The original date.  Repeated due dates are counted from it, never from an already clipped one.
    months : int
        Whole months, negative to go back.

    Examples
    --------
    >>> add_months(date(2025, 1, 31), 1), add_months(date(2025, 1, 31), 2)
    (datetime.date(2025, 2, 28), datetime.date(2025, 3, 31))
    """
    year, month_index = divmod(anchor.year * 12 + anchor.month - 1 + months, 12)
    month = month_index + 1
    return date(year, month, min(anchor.day, monthrange(year, month)[1]))


def local_date(at: datetime, time_zone: str) -> date:
    """Return the date an instant falls on in an IANA time zone.

    Examples
    --------
    >>> from datetime import UTC
    >>> local_date(datetime(2025, 7, 31, 2, tzinfo=UTC), "America/Los_Angeles")
    datetime.date(2025, 7, 30)
    """
    if at.utcoffset() is None:
        raise ValueError(f"{at.isoformat()} has no offset; an instant needs one")
    return at.astimezone(ZoneInfo(time_zone)).date()


def next_due(
    plan: Plan,
    *,
    last_check_on: date | None,
    fitted_on: date | None,
    km_readings: Sequence[CounterReading] = (),
    hour_readings: Sequence[CounterReading] = (),
    as_of_on: date,
) -> Due:
    """Return when the next check is due, as it is known on a local date.

    Parameters
    ----------
    plan : Plan
        The interval.
    last_check_on, fitted_on : date or None
        Local date of the last check that counts, and of the fitting, from which an unchecked unit counts.
    km_readings, hour_readings : sequence of CounterReading
        Counters, continuous over replacements.  [km], [h]
    as_of_on : date
        The local date.  Readings after it are left out.

    Returns
    -------
    Due
        The earliest limb; on equal dates the first of months, days, km, hours.

    Examples
    --------
    >>> due = next_due(Plan(months=6), last_check_on=date(2025, 1, 31), fitted_on=None, as_of_on=date(2025, 8, 1))
    >>> due.due_on, due.limb, due.state, due.overdue_days
    (datetime.date(2025, 7, 31), 'months', 'overdue', 1)
    """
    base_on = last_check_on or fitted_on
    limbs = _calendar_limbs(plan, base_on, as_of_on)
    usage: tuple[tuple[Limb, float | None, Sequence[CounterReading]], ...] = (
        ("km", plan.km, km_readings),
        ("hours", plan.hours, hour_readings),
    )
    for limb, interval, readings in usage:
        if interval is not None and (found := _usage_limb(limb, interval, base_on, readings, as_of_on)):
            limbs.append(found)
    return _earliest(limbs, plan.lead_days, as_of_on)


def state_on(due_on: date | None, lead_days: int, as_of_on: date) -> State:
    """Return the state a due date has on a local date; without a due date nothing is due."""
    if due_on is None or as_of_on < due_on - timedelta(days=lead_days):
        return "not_due"
    if as_of_on < due_on:
        return "in_notice"
    return "due" if as_of_on == due_on else "overdue"


def first_state_change_on(due: Due, plan: Plan) -> date | None:
    """Return the next local date on which the state changes if nothing new is heard.

    A predicted km or hours date never becomes due by itself; on that date the prediction is to be made anew.

    Examples
    --------
    >>> plan = Plan(months=6, lead_days=30)
    >>> due = next_due(plan, last_check_on=date(2025, 1, 31), fitted_on=None, as_of_on=date(2025, 6, 1))
    >>> first_state_change_on(due, plan)
    datetime.date(2025, 7, 1)
    """
    if due.due_on is None or due.state in ("cannot_tell", "overdue"):
        return None
    if due.state == "not_due":
        return due.due_on - timedelta(days=plan.lead_days)
    return due.due_on if due.state == "in_notice" else due.due_on + timedelta(days=1)


def _calendar_limbs(plan: Plan, base_on: date | None, as_of_on: date) -> list[LimbDue]:
    if base_on is None:
        return []
    dates: list[tuple[Limb, date]] = []
    if plan.months is not None:
        dates.append(("months", _months_due_on(plan.months, plan.anchor_on, base_on)))
    if plan.days is not None:
        dates.append(("days", base_on + timedelta(days=plan.days)))
    return [LimbDue(limb, due_on, reached=as_of_on >= due_on) for limb, due_on in dates]


def _months_due_on(months: int, anchor_on: date | None, base_on: date) -> date:
    if anchor_on is None:
        return add_months(base_on, months)
    whole_months_apart = (base_on.year - anchor_on.year) * 12 + base_on.month - anchor_on.month
    multiple = whole_months_apart // months
    while (due_on := add_months(anchor_on, multiple * months)) <= base_on:
        multiple += 1
    return due_on


def _usage_limb(
    limb: Limb, interval: float, base_on: date | None, readings: Iterable[CounterReading], as_of_on: date
) -> LimbDue | None:
    known = readings_without_drops(reading for reading in readings if reading.read_on <= as_of_on)
    if not known:
        return None
    counted_from_on = base_on or known[0].read_on
    base = usage_at(known, counted_from_on)
    if base is None:
        return None
    target = base + interval
    threshold = target - RELATIVE_TOLERANCE * abs(target)
    for reading in known:
        if reading.read_on >= counted_from_on and reading.value >= threshold:
            return LimbDue(limb, reading.read_on, reached=True, due_value=target)
    return LimbDue(limb, _predicted_on(known, target, as_of_on), reached=False, predicted=True, due_value=target)


def _predicted_on(known: Sequence[CounterReading], target: float, as_of_on: date) -> date | None:
    rate_per_day = usage_per_day(known, as_of_on)
    if rate_per_day is None or rate_per_day <= 0:
        return None
    latest = known[-1]
    days_left = ceil((target - latest.value) / rate_per_day)
    if days_left > (date.max - latest.read_on).days:
        return None
    # Only a reading can make a check due, so an old counter's prediction is never earlier than tomorrow.
    return max(latest.read_on + timedelta(days=days_left), as_of_on + timedelta(days=1))


def _earliest(limbs: list[LimbDue], lead_days: int, as_of_on: date) -> Due:
    by_limb = {each.limb: each for each in limbs}
    reached = tuple(each.limb for each in limbs if each.reached)
    if not limbs:
        return Due(None, None, "cannot_tell", 0, by_limb, reached)
    dated = [(each.due_on, LIMB_ORDER.index(each.limb)) for each in limbs if each.due_on is not None]
    if not dated:
        return Due(None, None, "not_due", 0, by_limb, reached)
    due_on, order = min(dated)
    overdue_days = max(0, (as_of_on - due_on).days)
    return Due(due_on, LIMB_ORDER[order], state_on(due_on, lead_days, as_of_on), overdue_days, by_limb, reached)
