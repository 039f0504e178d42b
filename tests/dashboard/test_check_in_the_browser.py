"""The whole check on a phone, in a real browser."""

from playwright.sync_api import Browser, Page, expect

from tests.dashboard.browsing import (
    PHONE,
    assert_no_violation_in_either_scheme,
    scrolls_sideways,
    violations,
    watched_page,
)
from tests.dashboard.hands import Checker, Keyboard

SMALL_TARGETS = """selector => [...document.querySelectorAll(selector)]
  .filter(one => one.checkVisibility() && one.getBoundingClientRect().height < 55.9)
  .map(one => `${one.innerText || one.name} ${one.getBoundingClientRect().height}`)"""
TARGETS = (
    ".check label.target, .check button, .check .step, .check select, .units a, "
    ".check input:not(label input):not([type=hidden])"
)


def assert_clean(page: Page) -> None:
    assert_no_violation_in_either_scheme(page)
    assert not scrolls_sideways(page), page.url
    assert page.evaluate(SMALL_TARGETS, TARGETS) == [], page.url
    for following in page.locator(".check .next").all():
        box = following.bounding_box()
        assert box is not None
        assert box["height"] >= 64


def test_a_healthy_unit_is_checked_stored_judged_and_signed(phone: Page) -> None:
    checker = Checker(phone, look=assert_clean).healthy("Truck 25").store()
    assert phone.locator("h1").inner_text().strip() == "Inside limits"
    assert phone.get_by_text("Good: nothing to do by these readings.").is_visible()
    checker.put_back_and_sign()
    assert phone.get_by_text("Signed").first.is_visible()
    assert phone.get_by_role("button", name="Sign", exact=True).count() == 0


def test_result_not_right_and_working_are_clean_down_to_320_px(phone: Page) -> None:
    Checker(phone).healthy("Truck 26").store()
    result = phone.url
    for width in (320, 390, 1280):
        phone.set_viewport_size({"width": width, "height": 800})
        for part in ("", "not-right/", "working/"):
            phone.goto(f"{result}{part}")
            assert_clean(phone)


def test_a_page_of_the_check_holds_at_320_px_and_with_text_twice_as_large(phone: Page) -> None:
    def look(page: Page) -> None:
        page.set_viewport_size({"width": 320, "height": 640})
        assert not scrolls_sideways(page), page.url
        page.set_viewport_size({"width": 390, "height": 844})
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        assert not scrolls_sideways(page), f"{page.url} at 200 %"
        page.evaluate("document.documentElement.style.fontSize = ''")

    Checker(phone, look=look).healthy("Coach 17")


def test_entry_digits_are_32_px_and_bring_up_the_decimal_keys(phone: Page) -> None:
    Checker(phone).start("Truck 25").conditions().all_off()
    for name in ("Volts", "Amps"):
        field = phone.get_by_label(name, exact=True)
        assert field.get_attribute("inputmode") == "decimal"
        assert field.evaluate("one => getComputedStyle(one).fontSize") == "32px"


def test_a_point_left_out_is_questioned_at_once_and_put_right_with_one_tap(phone: Page) -> None:
    checker = Checker(phone).start("Truck 25").conditions().all_off()
    slipped = checker.amps[0].replace(".", "")
    checker.pair(checker.volts, slipped)
    question = phone.get_by_text(f"{slipped} A?")
    question.wait_for()
    assert violations(phone) == []
    phone.get_by_role("button", name=f"and {checker.amps[0]} A").click()
    phone.wait_for_url("**/reading/2/")
    phone.get_by_role("link", name="Look over").click()
    expect(phone.locator("tr", has_text="Stage 1").locator("td").nth(1)).to_have_text(checker.amps[0])


def test_the_expected_band_and_the_last_time_appear_only_after_both_fields(phone: Page) -> None:
    checker = Checker(phone).start("Truck 25").conditions().all_off()
    checker.write("Volts", checker.volts)
    phone.wait_for_timeout(300)
    assert phone.locator(".look").count() == 0
    assert "Last time" not in phone.content()
    checker.write("Amps", checker.amps[0])
    phone.locator(".look").wait_for()
    assert "Expected" in phone.locator(".look").inner_text()
    assert "Last time" in phone.locator(".look").inner_text()


def test_the_timer_says_when_to_read_and_keeps_the_seconds(phone: Page) -> None:
    checker = Checker(phone).start("Truck 25").conditions().all_off()
    phone.get_by_role("button", name="On now").click()
    expect(phone.get_by_text("Wait …")).to_be_visible()
    phone.get_by_text("Read both now").wait_for(timeout=4000)
    checker.pair(checker.volts, checker.amps[0])
    phone.get_by_role("button", name="Off", exact=True).click()
    seconds = float(phone.locator("[name=seconds_on]").input_value())
    assert 2.0 <= seconds < 10.0
    checker.tap("Next")
    phone.goto(phone.url.replace("/reading/2/", "/reading/1/"))
    assert phone.locator("[name=seconds_on]").input_value() == str(seconds)


def test_far_too_many_amps_fill_the_screen_with_the_stop(phone: Page) -> None:
    checker = Checker(phone).start("Truck 25").conditions().all_off()
    checker.pair(checker.volts, str(round(float(checker.amps[0]) * 1.5)))
    stop = phone.get_by_role("alertdialog")
    stop.wait_for()
    assert stop.bounding_box() == {"x": 0, "y": 0, "width": PHONE["width"], "height": PHONE["height"]}
    assert violations(phone) == []
    phone.get_by_role("button", name="A slip of the keys: change it").click()
    expect(stop).to_have_count(0)
    checker.write("Amps", str(round(float(checker.amps[0]) * 1.6)))
    phone.get_by_role("button", name="Everything is off: keep this reading").click()
    phone.wait_for_url("**/stop/")
    assert_clean(phone)
    phone.get_by_role("button", name="Everything is off: look over and store").click()
    checker.store()
    assert phone.locator("h1").inner_text().strip() == "Outside limits, stage 1 only (1 of 4 stages read)"


def test_the_stop_stays_on_the_screen_wherever_a_stage_page_is_scrolled(phone: Page) -> None:
    Checker(phone).start("Truck 25").conditions().all_off()
    for height in (844, 420):
        phone.set_viewport_size({"width": PHONE["width"], "height": height})
        for way in (0, 200, 5000):
            phone.evaluate(f"scrollTo(0, {way})")
            box = phone.get_by_role("button", name="Smoke or smell: stop").bounding_box()
            assert box is not None
            assert box["height"] >= 64
            assert 0 <= box["y"] <= height - box["height"]


def test_a_refused_form_begins_with_its_faults_and_a_tap_leads_to_the_field(phone: Page) -> None:
    checker = Checker(phone, look=assert_clean).start("Truck 25")
    checker.tap("Next: can it be clear?")
    expect(phone.locator("[role=alert]:focus")).to_have_count(1)
    assert phone.evaluate("scrollY") == 0
    checker.tap("How is the coil temperature known?", role="link")
    assert phone.evaluate("document.activeElement.name") == "coil_temperature_method"


def test_a_stored_value_is_replaced_and_the_old_verdict_stands_struck_through(phone: Page) -> None:
    checker = Checker(phone).start("Truck 27").conditions().all_off()
    for place, amps in enumerate(checker.amps):
        checker.stage(f"{float(amps) - 10:.1f}" if place == 0 else amps)
    checker.store()
    assert phone.locator("h1").inner_text().strip() == "Outside limits"
    checker.tap("Not right?", role="link")
    checker.tap("A number was mistyped")
    phone.locator("tr", has_text="Stage 1").get_by_role("button", name="change").click()
    checker.pair(checker.volts, checker.amps[0])
    checker.tap("Next")
    checker.write("Why is the earlier check replaced?", "One digit wrong.")
    checker.store()
    assert phone.locator("h1").inner_text().strip() == "Inside limits"
    checker.put_back_and_sign()
    assert phone.locator("del", has_text="Outside limits").is_visible()
    assert phone.get_by_text("One digit wrong.").is_visible()
    assert_clean(phone)


def test_a_check_is_taken_with_the_keyboard_alone(phone: Page) -> None:
    Checker(phone).start("Truck 28")
    hands = Keyboard(phone)
    hands.to("Parked: the coils are as warm as the air")
    hands.press("Space")
    hands.write("Air temperature, °C", "15")
    hands.to("Next: can it be clear?")
    hands.press("Enter")
    phone.wait_for_url("**/clear/")
    amps = [cell.removesuffix(" A") for cell in phone.locator("tbody td:nth-child(2)").all_inner_texts()]
    hands.to("Next: all off")
    hands.press("Enter")
    phone.wait_for_url("**/all-off/")
    hands.write("Volts", "28.0")
    hands.write("Amps", "0")
    hands.to("Next")
    hands.press("Enter")
    for stage, each in enumerate(amps, start=1):
        phone.wait_for_url(f"**/reading/{stage}/")
        hands.write("Volts", "28.0")
        hands.write("Amps", each)
        hands.to("Not looked at")
        hands.press("ArrowDown")
        hands.to("Next")
        hands.press("Enter")
    phone.wait_for_url("**/look-over/")
    hands.to("Store and see the verdict")
    hands.press("Enter")
    phone.wait_for_url("**/checks/**")
    assert phone.locator("h1").inner_text().strip() == "Inside limits"
    for words in ("Test leads off", "Plugs on", "Covers on", "Isolator on", "Interlock restored"):
        hands.to(words)
        hands.press("Space")
    hands.to("Sign")
    hands.press("Enter")
    phone.get_by_text("Signed").first.wait_for()


def test_a_check_is_taken_without_any_script(browser: Browser, served_pages: str) -> None:
    with watched_page(browser, served_pages, viewport=PHONE, java_script_enabled=False) as page:
        checker = Checker(page).healthy("Pump 3")
        assert page.get_by_role("columnheader", name="Last time").is_visible()
        checker.store()
        assert page.locator("h1").inner_text().strip() == "Inside limits"
