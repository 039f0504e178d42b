"""The pages about the record in a real browser, and a record as it comes out of the printer."""

import re
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.dashboard.browsing import DESK, PHONE, scrolls_sideways, violations

SMALLEST = {"width": 320, "height": 640}
PAGES = ["history", "exceptions", "check-the-record", "checks/{check}/record", "history/checks/{check}"]


@pytest.fixture(scope="module")
def check(desk: Page) -> str:
    """Return the id of a failed check of the demo book."""
    desk.goto("/demo/checks/?verdict=fail")
    address = desk.locator("a:has(> .verdict)").first.get_attribute("href") or ""
    return address.rstrip("/").rpartition("/")[2]


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_clean_and_fits_at_every_size(desk: Page, check: str, name: str) -> None:
    desk.goto(f"/demo/{name.format(check=check)}/")
    schemes: list[Any] = ["light", "dark"]
    for scheme, size in zip([*schemes, "light"], [DESK, PHONE, SMALLEST], strict=True):
        desk.emulate_media(color_scheme=scheme)
        desk.set_viewport_size(size)  # type: ignore[arg-type]
        assert violations(desk) == [], (scheme, size)
        assert not scrolls_sideways(desk), size


def test_on_paper_a_record_is_the_sheet_alone_and_bands_are_not_hatched(desk: Page, check: str) -> None:
    desk.set_viewport_size(DESK)  # type: ignore[arg-type]
    desk.goto(f"/demo/checks/{check}/record/")
    desk.emulate_media(media="print", color_scheme="light")
    try:
        expect(desk.locator("header.frame")).to_be_hidden()
        expect(desk.locator(".record .on-screen")).to_be_hidden()
        expect(desk.get_by_role("heading", name="Record of a retarder check")).to_be_visible()
        fill = "element => getComputedStyle(element).fill"
        assert desk.locator("svg .band").first.evaluate(fill) == "none"
        assert "hatch" in desk.locator("svg rect.hatch").first.evaluate(fill)
        pages = re.findall(rb"/Type\s*/Page\b(?!s)", desk.pdf(prefer_css_page_size=True))
        assert 2 <= len(pages) <= 6
    finally:
        desk.emulate_media(media="screen")
