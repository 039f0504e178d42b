"""A defect's whole story on a phone: found, searched for, released, repaired, not helped, repaired, closed."""

import datetime as dt
import re

from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.dashboard.browsing import assert_no_violation_in_either_scheme, scrolls_sideways
from tests.dashboard.hands import Checker

UNIT, DEFECT = "Truck 22", "Stage 1 outside limits"
# What one stage takes off the volts at the box: no supply is without resistance.
SAG_V = 0.3


def assert_clean(page: Page) -> None:
    assert_no_violation_in_either_scheme(page)
    for width in (320, 390):
        page.set_viewport_size({"width": width, "height": 844})
        assert not scrolls_sideways(page), f"{page.url} at {width}"


def read_all(checker: Checker, first_stage_share: float) -> None:
    """Read everything from the meters' page on; stage 1 draws a share of what it should, and the box sags by it."""
    checker.conditions()
    at_rest_v = float(checker.volts) + SAG_V
    checker.pair(f"{at_rest_v:.2f}", "0")
    checker.tap("Next")
    for place, amps in enumerate(checker.amps):
        share = 1.0 if place else first_stage_share
        checker.pair(f"{at_rest_v - SAG_V * share:.2f}", f"{float(amps) * share:.1f}")
        checker.tick("As expected")
        checker.tap("Next")


def retest(checker: Checker, first_stage_share: float, verdict: str) -> None:
    """Check the repaired unit again, store, see the verdict and sign."""
    page = checker.page
    checker.tap("Start the retest", role="link")
    for box in page.locator(".ticks input").all():
        box.check()
    checker.tick("No air suspension")
    checker.tick("Nobody in the cab")
    checker.tap("Next: meters and temperature")
    read_all(checker, first_stage_share)
    page.get_by_label("Purpose").select_option("retest")
    page.get_by_text("Open defects").click()
    checker.tick(DEFECT)
    checker.store()
    expect(page.locator("h1")).to_have_text(re.compile(verdict))
    checker.put_back_and_sign()
    expect(page.get_by_text("Signed").first).to_be_visible()


def repair(checker: Checker, done: str) -> None:
    checker.write("What was done", done)
    checker.page.get_by_label("Cause found").select_option("blown_fuse")
    checker.tap("Record it")
    expect(checker.page.get_by_text("Before it is closed")).to_be_visible()


def test_a_defect_from_the_failing_check_to_the_passing_retest(phone: Page) -> None:
    checker = Checker(phone).start(UNIT, "demo-manager")
    read_all(checker, 0.0)
    checker.store()
    expect(phone.locator("h1")).to_have_text(re.compile("Outside limits"))
    checker.put_back_and_sign()
    checker.tap("Find the part", role="link")
    expect(phone.get_by_role("heading", name="Next reading: stage 1: volts at the stage output")).to_be_visible()
    expect(phone.get_by_text("Not told apart yet, one of:")).to_be_visible()
    assert_clean(phone)
    # Nothing at the output, and all that the three other stages leave of the volts across the fuse.
    for value, read in (("0,0", 1), (f"{float(checker.volts) - 2 * SAG_V:.1f}".replace(".", ","), 2)):
        phone.locator("#id_value").fill(value)
        checker.tap("Enter")
        expect(phone.locator("ul.mind > li:has(> strong)")).to_have_count(read)
    expect(phone.locator("ol.causes > li").first).to_contain_text("stage 1: fuse open")
    expect(phone.get_by_role("heading", name="What to do")).to_be_visible()
    assert_clean(phone)
    checker.tap(DEFECT.lower(), role="link")
    defect = phone.url.partition("?")[0]
    phone.get_by_label("May it run?").select_option("isolated")
    phone.get_by_label("Until").fill((timezone.now().date() + dt.timedelta(days=5)).isoformat())
    checker.write("Reason", "One stage of four is dead.")
    checker.tap("Decide")
    checker.tap("Cab notice", role="link")
    expect(phone.get_by_text("Do not count on the retarder")).to_be_visible()
    expect(phone.get_by_text("retarder isolated, driver told")).to_be_visible()
    checker.tap("Back to the defect", role="link")
    repair(checker, "Fuse renewed")
    assert_clean(phone)
    retest(checker, 0.6, "Outside limits")
    phone.goto(defect)
    expect(phone.get_by_text("retest failed")).to_be_visible()
    expect(phone.locator("dl.facts dd").first).to_have_text("open")
    repair(checker, "Fuse holder renewed, joint cleaned")
    retest(checker, 1.0, "Inside limits")
    phone.goto(defect)
    expect(phone.locator("dl.facts dd").first).to_have_text("closed")
    expect(phone.get_by_text("retest passed")).to_be_visible()
