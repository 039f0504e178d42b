"""When the next check is due.

The vectors are this project's own design, computed by hand, unless a source is named.
"""

from datetime import UTC, date, datetime, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from calc.due import Due, Plan, add_months, first_state_change_on, local_date, next_due
from calc.usage import (
    CounterHistory,
    CounterReading,
    continuous,
    counter_anomalies,
    readings_without_drops,
    usage_at,
    usage_per_day,
)

CLIPPING_SOURCE = "clipping to the end of the month: Python tutor list, February 2007, message 052475; values computed"
DAYS = st.dates(date(1950, 1, 1), date(2150, 12, 31))


@pytest.mark.parametrize(
    ("anchor", "months", "expected"),
    [
        (date(2025, 1, 31), 1, date(2025, 2, 28)),
        (date(2024, 1, 31), 1, date(2024, 2, 29)),
        (date(2100, 1, 31), 1, date(2100, 2, 28)),
        (date(2000, 1, 31), 1, date(2000, 2, 29)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2024, 2, 29), 48, date(2028, 2, 29)),
        (date(2025, 8, 30), 6, date(2026, 2, 28)),
        (date(2025, 8, 31), 6, date(2026, 2, 28)),
        (date(2025, 2, 28), 1, date(2025, 3, 28)),
        (date(2025, 1, 31), 2, date(2025, 3, 31)),
        (date(2025, 1, 31), 3, date(2025, 4, 30)),
        (date(2025, 1, 31), 4, date(2025, 5, 31)),
    ],
)
def test_months_are_clipped_to_the_end_of_a_shorter_month(anchor: date, months: int, expected: date) -> None:
    assert add_months(anchor, months) == expected, CLIPPING_SOURCE


@given(DAYS, st.integers(-600, 600))
def test_adding_months_agrees_with_dateutil(anchor: date, months: int) -> None:
    assert add_months(anchor, months) == anchor + relativedelta(months=months)


def test_ninety_days_are_not_three_months() -> None:
    def due_on(plan: Plan) -> date | None:
        return next_due(plan, last_check_on=date(2025, 1, 31), fitted_on=None, as_of_on=date(2025, 2, 1)).due_on

    assert due_on(Plan(days=90)) == date(2025, 5, 1)
    assert due_on(Plan(months=3)) == date(2025, 4, 30)


@pytest.mark.parametrize(
    ("last_check_on", "expected"),
    [
        (date(2025, 1, 31), date(2025, 2, 28)),
        (date(2025, 2, 28), date(2025, 3, 31)),
        (date(2025, 3, 31), date(2025, 4, 30)),
        (date(2025, 4, 30), date(2025, 5, 31)),
        (date(2025, 4, 12), date(2025, 4, 30)),
        (date(2024, 11, 30), date(2024, 12, 31)),
    ],
)
def test_a_fixed_anchor_never_drifts_however_often_it_is_clipped(last_check_on: date, expected: date) -> None:
    plan = Plan(months=1, anchor_on=date(2025, 1, 31))
    assert next_due(plan, last_check_on=last_check_on, fitted_on=None, as_of_on=last_check_on).due_on == expected


@given(
    st.dates(date(1990, 1, 1), date(2060, 12, 31)), st.dates(date(1990, 1, 1), date(2060, 12, 31)), st.integers(1, 40)
)
def test_a_fixed_anchor_gives_the_first_date_of_its_calendar_after_the_check(
    anchor_on: date, last_check_on: date, months: int
) -> None:
    plan = Plan(months=months, anchor_on=anchor_on)
    due_on = next_due(plan, last_check_on=last_check_on, fitted_on=None, as_of_on=last_check_on).due_on
    calendar = (
        anchor_on + relativedelta(months=multiple * months) for multiple in range(-860 // months, 860 // months + 2)
    )
    assert due_on == next(each for each in calendar if each > last_check_on)


WHICHEVER_FIRST = Plan(months=6, km=30_000, hours=500, lead_days=0)
LAST_CHECK_ON = date(2025, 1, 31)
KM_PER_MILE = 1.609344


def whichever_first(as_of_on: date, km: float | None, hours: float | None) -> Due:
    km_readings = [CounterReading(LAST_CHECK_ON, 100_000.0)]
    hour_readings = [CounterReading(LAST_CHECK_ON, 4_000.0)]
    if km is not None:
        km_readings.append(CounterReading(as_of_on, km))
    if hours is not None:
        hour_readings.append(CounterReading(as_of_on, hours))
    return next_due(
        WHICHEVER_FIRST,
        last_check_on=LAST_CHECK_ON,
        fitted_on=date(2020, 5, 4),
        km_readings=km_readings,
        hour_readings=hour_readings,
        as_of_on=as_of_on,
    )


@pytest.mark.parametrize(
    ("as_of_on", "km", "hours", "state", "reached"),
    [
        (date(2025, 6, 1), 129_999, 4_499, "not_due", ()),
        (date(2025, 6, 1), 130_000, 4_200, "due", ("km",)),
        (date(2025, 6, 1), None, 4_500.0, "due", ("hours",)),
        (date(2025, 7, 30), 110_000, 4_100, "not_due", ()),
        (date(2025, 7, 31), 110_000, 4_100, "due", ("months",)),
        (date(2025, 8, 1), 110_000, 4_100, "overdue", ("months",)),
        (date(2025, 6, 1), 99_000, 4_100, "not_due", ()),
        (date(2025, 6, 1), 80_778 * KM_PER_MILE, None, "not_due", ()),
        (date(2025, 6, 1), 80_779 * KM_PER_MILE, None, "due", ("km",)),
        (date(2025, 7, 31), 131_000, 4_600, "due", ("months", "km", "hours")),
    ],
)
def test_the_limb_reached_first_makes_the_check_due(
    as_of_on: date, km: float | None, hours: float | None, state: str, reached: tuple[str, ...]
) -> None:
    due = whichever_first(as_of_on, km, hours)
    assert (due.state, due.reached) == (state, reached)
    assert due.limb == (reached[0] if reached else due.limb)
    assert due.overdue_days == (1 if state == "overdue" else 0)


def test_a_check_is_due_on_a_date_of_the_depot_and_not_of_the_server() -> None:
    at = datetime(2025, 7, 31, 2, tzinfo=UTC)
    states = {
        zone: whichever_first(local_date(at, zone), None, None).state
        for zone in ("America/Los_Angeles", "Europe/London")
    }
    assert states == {"America/Los_Angeles": "not_due", "Europe/London": "due"}
    with pytest.raises(ValueError, match="no offset"):
        local_date(at.replace(tzinfo=None), "Europe/London")


@pytest.mark.parametrize(
    ("zone", "expected"),
    [
        ("America/Los_Angeles", date(2025, 6, 30)),
        ("Europe/London", date(2025, 7, 1)),
        ("Pacific/Auckland", date(2025, 7, 1)),
        ("Pacific/Kiritimati", date(2025, 7, 1)),
    ],
)
def test_one_instant_has_different_local_dates(zone: str, expected: date) -> None:
    assert local_date(datetime(2025, 7, 1, 2, tzinfo=UTC), zone) == expected


def test_a_limb_reached_by_a_reading_is_due_on_the_date_of_that_reading_and_overdue_from_the_next_day() -> None:
    readings = [CounterReading(LAST_CHECK_ON, 100_000.0), CounterReading(date(2025, 5, 20), 130_500.0)]
    due = next_due(
        WHICHEVER_FIRST, last_check_on=LAST_CHECK_ON, fitted_on=None, km_readings=readings, as_of_on=date(2025, 5, 23)
    )
    assert (due.due_on, due.limb, due.state, due.overdue_days) == (date(2025, 5, 20), "km", "overdue", 3)
    assert due.limbs["km"].due_value == 130_000.0


def test_decimal_hours_that_meet_the_interval_exactly_are_due_in_spite_of_binary_fractions() -> None:
    start = CounterReading(LAST_CHECK_ON, 4_000.3)
    reading = CounterReading(date(2025, 4, 1), 4_500.4)
    assert 4_000.3 + 500.1 > 4_500.4
    due = next_due(
        Plan(hours=500.1),
        last_check_on=LAST_CHECK_ON,
        fitted_on=None,
        hour_readings=[start, reading],
        as_of_on=date(2025, 4, 1),
    )
    assert due.state == "due"


def test_a_drop_inside_one_counter_leaves_the_due_state_as_it_was() -> None:
    readings = [
        CounterReading(LAST_CHECK_ON, 100_000.0),
        CounterReading(date(2025, 5, 1), 130_000.0),
        CounterReading(date(2025, 6, 1), 99_000.0),
    ]
    due = next_due(
        Plan(km=30_000), last_check_on=LAST_CHECK_ON, fitted_on=None, km_readings=readings, as_of_on=date(2025, 6, 1)
    )
    assert (due.due_on, due.state) == (date(2025, 5, 1), "overdue")
    assert counter_anomalies(readings) == (readings[2],)


def test_one_mistyped_high_reading_is_dropped_once_later_readings_contradict_it() -> None:
    readings = [
        CounterReading(date(2025, 1, day), value) for day, value in ((1, 100.0), (2, 9_999.0), (3, 120.0), (4, 130.0))
    ]
    assert counter_anomalies(readings) == (readings[1],)


@given(st.lists(st.integers(0, 30), max_size=9))
def test_no_larger_set_of_readings_runs_forward_than_the_one_kept(values: list[int]) -> None:
    readings = [
        CounterReading(date(2025, 1, 1) + timedelta(days=day), float(value)) for day, value in enumerate(values)
    ]
    kept = readings_without_drops(readings)
    longest = 0
    for chosen in range(2 ** len(values)):
        subset = [value for place, value in enumerate(values) if chosen >> place & 1]
        if subset == sorted(subset):
            longest = max(longest, len(subset))
    assert len(kept) == longest
    assert [each.value for each in kept] == sorted(each.value for each in kept)


def test_a_replaced_counter_goes_on_from_where_the_old_one_stopped() -> None:
    first = CounterHistory([CounterReading(LAST_CHECK_ON, 100_000.0), CounterReading(date(2025, 3, 1), 110_000.0)])
    second = CounterHistory(
        [CounterReading(date(2025, 3, 1), 3.0), CounterReading(date(2025, 6, 1), 20_000.0)], offset=109_997.0
    )
    series = continuous([second, first])
    assert [each.value for each in series] == [100_000.0, 110_000.0, 110_000.0, 129_997.0]

    def reached_by(*more: CounterReading) -> tuple[str, ...]:
        readings = [*series, *more]
        as_of_on = date(2025, 6, 2)
        return next_due(
            Plan(km=30_000), last_check_on=LAST_CHECK_ON, fitted_on=None, km_readings=readings, as_of_on=as_of_on
        ).reached

    assert reached_by() == ()
    assert reached_by(CounterReading(date(2025, 6, 2), 20_003.0 + second.offset)) == ("km",)


def test_usage_predicts_the_date_but_never_makes_the_check_due() -> None:
    readings = [CounterReading(LAST_CHECK_ON, 100_000.0), CounterReading(date(2025, 3, 2), 106_000.0)]
    plan = Plan(km=30_000, lead_days=14)

    def on(as_of_on: date) -> Due:
        return next_due(plan, last_check_on=LAST_CHECK_ON, fitted_on=None, km_readings=readings, as_of_on=as_of_on)

    assert (on(date(2025, 3, 2)).due_on, on(date(2025, 3, 2)).state) == (date(2025, 6, 30), "not_due")
    assert on(date(2025, 6, 16)).state == "in_notice"
    assert (on(date(2025, 8, 1)).due_on, on(date(2025, 8, 1)).state) == (date(2025, 8, 2), "in_notice")


@pytest.mark.parametrize(
    "readings",
    [
        [CounterReading(LAST_CHECK_ON, 100_000.0)],
        [CounterReading(LAST_CHECK_ON, 100_000.0), CounterReading(date(2025, 2, 13), 104_000.0)],
        [CounterReading(LAST_CHECK_ON, 100_000.0), CounterReading(date(2025, 4, 13), 100_000.0)],
    ],
    ids=["one reading", "13 days apart", "standing still"],
)
def test_without_a_usable_rate_a_km_limb_has_no_date(readings: list[CounterReading]) -> None:
    due = next_due(
        Plan(km=30_000), last_check_on=LAST_CHECK_ON, fitted_on=None, km_readings=readings, as_of_on=date(2025, 5, 1)
    )
    assert (due.state, due.due_on, due.limb) == ("not_due", None, None)
    assert due.limbs["km"].due_value == 130_000.0


def test_a_single_wild_month_does_not_move_the_predicted_rate() -> None:
    steady = [CounterReading(date(2025, 1, 1) + timedelta(days=30 * month), 3_000.0 * month) for month in range(11)]
    wild = [each._replace(value=each.value + 900.0) if month == 5 else each for month, each in enumerate(steady)]
    assert usage_per_day(wild, date(2025, 11, 30)) == pytest.approx(100.0)


def test_usage_at_a_check_is_interpolated_or_the_last_known_or_the_first_soon_after() -> None:
    readings = [CounterReading(date(2025, 3, 1), 1_000.0), CounterReading(date(2025, 3, 11), 1_500.0)]
    assert usage_at(readings, date(2025, 3, 5)) == 1_200.0
    assert usage_at(readings, date(2025, 9, 1)) == 1_500.0
    assert usage_at(readings, date(2025, 1, 29)) == 1_000.0
    assert usage_at(readings, date(2025, 1, 28)) is None


def test_an_unchecked_unit_counts_from_its_fitting() -> None:
    due = next_due(Plan(months=6), last_check_on=None, fitted_on=date(2025, 8, 31), as_of_on=date(2025, 9, 1))
    assert (due.due_on, due.state) == (date(2026, 2, 28), "not_due")


def test_with_nothing_to_count_from_the_state_cannot_be_told() -> None:
    due = next_due(Plan(months=6, km=30_000), last_check_on=None, fitted_on=None, as_of_on=date(2025, 9, 1))
    assert (due.state, due.due_on, due.limb, dict(due.limbs)) == ("cannot_tell", None, None, {})


def test_readings_after_the_date_asked_about_are_left_out() -> None:
    readings = [CounterReading(LAST_CHECK_ON, 100_000.0), CounterReading(date(2025, 5, 20), 130_500.0)]
    due = next_due(
        Plan(km=30_000), last_check_on=LAST_CHECK_ON, fitted_on=None, km_readings=readings, as_of_on=date(2025, 5, 19)
    )
    assert (due.state, due.reached) == ("not_due", ())


@pytest.mark.parametrize(
    "fields",
    [{}, {"months": 0}, {"km": -1.0}, {"months": 6, "lead_days": -1}, {"days": 90, "anchor_on": date(2025, 1, 1)}],
)
def test_a_plan_that_cannot_work_is_refused(fields: dict[str, int]) -> None:
    with pytest.raises(ValueError, match=r"needs|must"):
        Plan(**fields)  # type: ignore[arg-type]


@given(st.integers(1, 24), st.integers(0, 90), st.integers(0, 800))
def test_a_stored_state_holds_until_the_first_date_it_changes_and_not_longer(
    months: int, lead_days: int, days_on: int
) -> None:
    plan = Plan(months=months, lead_days=lead_days)
    as_of_on = LAST_CHECK_ON + timedelta(days=days_on)

    def on(each: date) -> Due:
        return next_due(plan, last_check_on=LAST_CHECK_ON, fitted_on=None, as_of_on=each)

    changes_on = first_state_change_on(on(as_of_on), plan)
    if changes_on is None:
        assert on(as_of_on).state == on(as_of_on + timedelta(days=400)).state == "overdue"
    else:
        assert changes_on > as_of_on
        assert on(changes_on - timedelta(days=1)).state == on(as_of_on).state
        assert on(changes_on).state != on(as_of_on).state
