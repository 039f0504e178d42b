"""From the demo to a filed check of one's own, in a real browser, with the taps and fields it takes."""

from playwright.sync_api import Browser, Page, expect

from tests.dashboard.browsing import PHONE, scrolls_sideways, sign_in, violations, watched_page
from tests.dashboard.hands import Hands

PLATE = {"Rated amps of a stage": "35.5", "at how many volts": "28"}
METERS = {"Clamp: ± % of reading": "2", "Voltmeter: ± % of reading": "0,5"}
NAMES = {
    "Fleet number": "Tipper 7",
    "Serial number of the retarder": "0042",
    "What do you call this type?": "Hornbeam, 4 stages, 24 V",
    "Depot": "Yard",
}
# Two to reach the empty book, two to judge and file; the three fields of the book, fifteen of the check, four names.
TAPS, FIELDS = 4, 22
# Rated amps, percent and counts of both meters, the temperature, and eight pairs.
EMPTY_FIELDS = 1 + 4 + 1 + 16


def assert_clean(page: Page) -> None:
    assert violations(page) == [], page.url
    assert not scrolls_sideways(page), page.url


def test_from_the_demo_to_a_filed_check_takes_4_taps_and_22_fields(browser: Browser, served_pages: str) -> None:
    with watched_page(browser, served_pages, viewport=PHONE, has_touch=True) as page:
        sign_in(page, "demo-viewer")
        hands = Hands(page, look=assert_clean)
        hands.tap("Start your own book", role="link")
        for label, text in (
            ("Your organisation", "Ridge Haulage"),
            ("Your sign-in name", "mo-of-the-ridge"),
            ("A new password", "uphill both ways"),
        ):
            hands.write(label, text)
        hands.tap("Start")
        page.wait_for_url("**/ridge-haulage/first-check/")
        for label, text in {**PLATE, **METERS}.items():
            hands.write(label, text)
        hands.write("plus counts", "5", nth=0)
        hands.write("plus counts", "2", nth=1)
        hands.write("Coil temperature, °C", "18")
        for stage in range(4):
            hands.write("Volts", "27.8", nth=stage)
            hands.write("Amps", "35,4", nth=stage)
        hands.tap("Judge")
        assert page.locator("#verdict h2").inner_text().strip() == "Inside limits"
        for label, text in NAMES.items():
            hands.write(label, text)
        hands.tap("File it")
        page.wait_for_url("**/ridge-haulage/checks/**")
        assert page.locator("h1").inner_text().strip() == "Inside limits"
        assert (hands.taps, hands.fields) == (TAPS, FIELDS)
        page.goto("/ridge-haulage/check/")
        assert page.get_by_text("Tipper 7").is_visible()


def test_the_first_check_page_is_clean_at_every_size_in_both_schemes(browser: Browser, served_pages: str) -> None:
    with watched_page(browser, served_pages) as page:
        sign_in(page, "demo-manager")
        page.goto("/demo/first-check/?stages=8")
        for width in (320, 390, 1280):
            for scheme in ("light", "dark"):
                page.set_viewport_size({"width": width, "height": 800})
                page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
                assert_clean(page)
        page.get_by_role("button", name="Judge").click()
        expect(page.locator("[aria-invalid=true]")).to_have_count(EMPTY_FIELDS)
        assert_clean(page)
