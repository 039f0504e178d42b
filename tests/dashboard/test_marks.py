"""The small drawings: where things stand in them, and the words beside them."""

import datetime as dt
import re
import xml.etree.ElementTree as ET
from typing import Any

import pytest
from django.template import Context, Template

from accounts.models import Depot
from calc.due import LimbDue
from dashboard.drawings.rail import due_rail_of, due_sentence
from dashboard.drawings.strip import stage_strip_of
from dashboard.drawings.trend import trend_of
from inspections.forecast_fans import FanPoint
from inspections.models import VERDICT_CODES, VERDICTS
from schedules.models import CheckPlan, DueDate

# The stage of the contract's sample: 34.97 A ± 1.55 A between 31.5 A and 38.5 A, rated 35 A.
STAGE: dict[str, Any] = {
    "stage": 3,
    "verdict": "pass",
    "normalised_current_a": 34.97,
    "expanded_uncertainty_a": 1.55,
    "lower_limit_a": 31.5,
    "upper_limit_a": 38.5,
    "capability": 2.25,
    "level_percent": 99.914,
    "expanded_uncertainty_percent": 4.4286,
    "supply_voltage_v": 13.76,
    "current_a": 40.1,
}
UNDETERMINED = dict.fromkeys(STAGE) | {
    "stage": 3,
    "verdict": "undetermined",
    "supply_voltage_v": 13.76,
    "current_a": 40.1,
}
TODAY = dt.date(2026, 5, 1)


def rendered(template: str, **context: Any) -> str:
    return Template("{% load marks %}" + template).render(Context(context))


def drawing(text: str) -> ET.Element:
    """Return the drawing as a document: what cannot be parsed is no SVG."""
    found = re.search(r"<svg.*</svg>", text, re.DOTALL)
    assert found
    return ET.fromstring(found[0])


def due_date(**columns: Any) -> DueDate:
    values = {
        "depot": Depot(name="North", time_zone="UTC"),
        "plan": CheckPlan(lead_days=30),
        "due_on": dt.date(2026, 5, 24),
        "sorts_on": dt.date(2026, 5, 24),
        "limb": "km",
        "state": "in_notice",
        "last_check_on": dt.date(2025, 11, 24),
        **columns,
    }
    return DueDate(**values)


@pytest.mark.parametrize(("verdict", "word"), VERDICTS)
def test_a_verdict_mark_is_followed_by_its_word(verdict: str, word: Any) -> None:
    text = rendered("{% verdict_mark verdict %}", verdict=verdict)
    assert re.sub(r"<svg.*</svg>", "", text).count(str(word)) == 1
    assert (drawing(text).get("width"), drawing(text).get("height")) == ("28", "16")


def test_the_five_marks_differ_in_form_and_not_only_in_hue() -> None:
    forms = {
        verdict: ET.tostring(drawing(rendered("{% verdict_mark verdict %}", verdict=verdict)))
        for verdict in VERDICT_CODES
    }
    assert len(set(forms.values())) == 5
    assert {verdict for verdict, form in forms.items() if b'class="solid" cx' in form} == {"pass", "fail"}


def test_without_a_verdict_nothing_is_drawn_and_it_says_so() -> None:
    text = rendered("{% verdict_mark verdict %}", verdict=None)
    assert "<svg" not in text
    assert "Not checked" in text


def test_a_strip_places_limits_rated_and_reading_on_one_axis() -> None:
    strip = stage_strip_of(STAGE, previous_level_percent=101.0)
    assert strip.band is not None
    assert strip.whisker is not None
    assert strip.band.start < strip.whisker.start < strip.reading < strip.rated < strip.whisker.end < strip.band.end  # type: ignore[operator]
    assert strip.rated == 50.0
    assert strip.previous is not None
    assert strip.previous > strip.rated


def test_the_guards_lie_inside_the_limits_and_are_as_wide_as_the_uncertainty() -> None:
    strip = stage_strip_of(STAGE)
    assert strip.band is not None
    assert strip.whisker is not None
    low, high = strip.guards
    assert (low.start, high.end) == (strip.band.start, strip.band.end)
    assert low.width == pytest.approx(strip.whisker.width / 2, abs=0.02)
    assert stage_strip_of(STAGE, guarded=False).guards == ()


def test_a_strip_says_in_words_what_it_shows() -> None:
    text = rendered("{% stage_strip stage previous_level_percent=101.0 %}", stage=STAGE)
    assert "35.0 A ± 1.6" in text
    assert "read 40.1 A at 13.76 V" in text
    svg = drawing(text)
    assert svg.get("role") == "img"
    description = svg.findtext("desc") or ""
    assert "Lower limit 31.50 A" in description
    assert "Last check: 101 % of rated" in description


def test_a_reading_off_the_scale_becomes_an_arrow_and_a_number() -> None:
    text = rendered("{% stage_strip stage %}", stage=STAGE | {"level_percent": 0.0, "normalised_current_a": 0.0})
    assert "0 % of rated, off the scale" in text
    assert "circle" not in text
    assert 'class="band"' in text


def test_without_a_clear_zone_the_whole_band_is_hatched_and_it_says_so() -> None:
    strip = stage_strip_of(STAGE | {"capability": 0.8})
    assert not strip.can_be_clear
    text = rendered("{% stage_strip stage %}", stage=STAGE | {"capability": 0.8})
    assert text.count("url(#hatch)") == 1
    assert "cannot be clear with this meter and temperature" in text


def test_an_undetermined_stage_shows_no_figure() -> None:
    text = rendered("{% stage_strip stage %}", stage=UNDETERMINED)
    assert "No verdict" in text
    assert "±" not in text


@pytest.mark.parametrize(
    ("due", "sentence"),
    [
        (due_date(), "Due in 23 days, by km."),
        (due_date(due_on=TODAY + dt.timedelta(1), limb="months"), "Due in 1 day, by months."),
        (due_date(due_on=TODAY), "Due today, by km."),
        (due_date(due_on=TODAY - dt.timedelta(4), state="overdue"), "Overdue by 4 days, by km."),
        (due_date(due_on=None, state="no_plan"), "No check plan."),
        (None, "No check plan."),
    ],
)
def test_the_rail_says_when_the_check_is_due(due: DueDate | None, sentence: str) -> None:
    assert due_sentence(due, TODAY) == sentence


def test_the_rail_marks_today_between_the_last_check_and_the_due_date() -> None:
    limbs = [
        LimbDue("months", dt.date(2026, 6, 24), reached=False),
        LimbDue("km", dt.date(2026, 5, 24), reached=False, predicted=True),
    ]
    rail = due_rail_of(due_date(), TODAY, limbs=limbs)
    assert rail is not None
    assert rail.run.start < rail.lead.start < rail.today < rail.run.end
    assert [(tick.word, tick.earliest, tick.predicted) for tick in rail.ticks] == [
        ("months", False, False),
        ("km", True, True),
    ]
    text = rendered("{% due_rail due today=today %}", due=due_date(), today=TODAY)
    assert "Due in 23 days, by km." in (drawing(text).findtext("desc") or "")


def test_a_date_that_the_trend_brought_forward_is_the_earliest_tick() -> None:
    limbs = [LimbDue("months", dt.date(2026, 9, 24), reached=False)]
    rail = due_rail_of(due_date(limb="trend"), TODAY, limbs=limbs)
    assert rail is not None
    assert [(tick.word, tick.earliest) for tick in rail.ticks] == [("trend", True), ("months", False)]


def test_a_rail_without_a_date_is_a_sentence_only() -> None:
    text = rendered("{% due_rail due today=today %}", due=due_date(due_on=None, state="no_plan"), today=TODAY)
    assert "<svg" not in text
    assert "No check plan." in text


def trend_points(*levels: float) -> list[dict[str, Any]]:
    first = dt.date(2024, 1, 1)
    return [
        {
            "performed_at": first + dt.timedelta(days=180 * index),
            "level_percent": level,
            "expanded_uncertainty_percent": 4.0,
            "meter": "Clamp, red tape" if index % 2 else "Clamp, blue tape",
        }
        for index, level in enumerate(levels)
    ]


def test_the_trend_draws_every_stage_on_the_same_axes_with_a_shape_for_each_meter() -> None:
    stages = [
        {"stage": 1, "points": trend_points(100, 99, 98), "level_percent": 98},
        {"stage": 2, "points": trend_points(98, 60), "level_percent": 60},
    ]
    trend = trend_of({"stages": stages, "limits_percent": (90, 110)})
    one, two = trend.stages
    assert [dot.at for dot in one.dots[:2]] == [dot.at for dot in two.dots]
    assert one.dots[2].level == two.dots[0].level
    assert [dot.shape for dot in one.dots] == ["circle", "square", "circle"]
    assert [dot.off_scale for dot in two.dots] == ["", "below"]
    assert trend.upper is not None
    assert trend.lower is not None
    assert trend.upper < trend.rated < trend.lower


def test_the_line_breaks_at_a_repair() -> None:
    events = [{"on": dt.date(2024, 4, 1), "letter": "R", "text": "stage 1 outside limits"}]
    trend = trend_of({"stages": [{"stage": 1, "points": trend_points(100, 99, 98)}], "events": events})
    assert len(trend.stages[0].lines) == 1
    assert [rule.letter for rule in trend.rules] == ["R"]


def test_a_forecast_is_a_bracket_on_the_lower_limit_and_words_and_never_a_longer_line() -> None:
    stage = {
        "stage": 1,
        "points": trend_points(99, 95),
        "level_percent": 95.0,
        "declining": True,
        "crosses_earliest_on": dt.date(2024, 12, 1),
        "crosses_lower_limit_on": dt.date(2025, 3, 1),
        "crosses_latest_on": dt.date(2026, 1, 1),
    }
    trend = trend_of({"stages": [stage], "limits_percent": (90, 110)})
    bracket = trend.stages[0].bracket
    assert bracket is not None
    assert bracket.tick is not None
    assert trend.stages[0].dots[-1].at < bracket.start < bracket.tick < bracket.end
    assert max(line.x2 for line in trend.stages[0].lines) == trend.stages[0].dots[-1].at
    text = rendered("{% trend_multiples trend %}", trend={"stages": [stage], "limits_percent": (90, 110)})
    assert "reaches its lower limit about Mar 2025, between Dec 2024 and Jan 2026" in text


def test_the_trend_has_a_table_of_every_value() -> None:
    text = rendered("{% trend_multiples trend %}", trend={"stages": [{"stage": 1, "points": trend_points(99.4, 95)}]})
    rows = re.findall(r"<tr><th scope=\"row\">.*?</tr>", text)
    assert [re.findall(r">([\d.]+)<", row)[:3] for row in rows] == [["1", "99.4", "4.0"], ["1", "95.0", "4.0"]]


def test_a_forecast_opens_as_a_fan_from_the_last_check() -> None:
    days = [dt.date(2024, 6, 29) + dt.timedelta(days=30 * month) for month in range(25)]
    fan = [FanPoint(on, (94 - n, 95 - n / 2, 96.0, 97.0, 98.0)) for n, on in enumerate(days)]
    stage = {"stage": 1, "points": trend_points(99, 95), "level_percent": 95, "fan": fan}
    trend = trend_of({"stages": [stage, stage | {"stage": 2, "fan": []}], "limits_percent": (90, 110)})
    losing, healthy = trend.stages
    assert losing.fan is not None
    assert healthy.fan is None
    assert trend.has_fan
    wide = [tuple(map(float, point.split(","))) for point in losing.fan.wide.split()]
    assert len(wide) == 2 * len(losing.fan.middle.split())
    lowest, highest = wide[: len(wide) // 2], wide[: len(wide) // 2 - 1 : -1]
    # The axis of the drawing runs downwards.
    assert all(low[1] > high[1] and low[0] == high[0] for low, high in zip(lowest, highest, strict=True))
    assert losing.dots[-1].at <= lowest[0][0] < lowest[-1][0] <= 100


@pytest.mark.parametrize("is_losing", [True, False])
def test_a_fan_is_said_to_hold_only_if_current_is_being_lost(is_losing: bool) -> None:
    days = [dt.date(2024, 6, 29) + dt.timedelta(days=30 * month) for month in range(25)]
    fan = [FanPoint(on, (90.0, 92.0, 94.0, 96.0, 98.0)) for on in days] if is_losing else []
    stage = {"stage": 1, "points": trend_points(99, 95), "level_percent": 95, "fan": fan}
    text = rendered("{% trend_multiples trend %}", trend={"stages": [stage], "limits_percent": (90, 110)})
    caption = "If it is losing current, the fan is where the level may go without a repair"
    assert (caption in text) is is_losing
