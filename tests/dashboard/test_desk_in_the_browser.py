"""The desk's pages in a real browser: clean, calm and reachable at every size, in both schemes."""

from typing import Any, Literal

import pytest
from playwright.sync_api import Browser, Page, Response, expect

from tests.dashboard.browsing import DESK, PHONE, SCHEMES, scrolls_sideways, sign_in, violations, watched_page

LISTS = ["vehicles", "checks", "defects", "due", "losing-current", "told", "meters", "ratings", "people", "units"]
DESK_PAGES = ["rules", "rules/lists", "judge-anew", "meters/add", "people/invite", "tokens", "tokens/make", "to-sign"]
PAGES = ["today", "find", "more", "night", *LISTS, *DESK_PAGES]
# Pages about one thing: the list, the links that lead there from it, and what follows that address.
ABOUT_ONE: dict[str, tuple[str, list[str], str]] = {
    "a meter": ("meters/", ["tbody th a"], ""),
    "its accuracy": ("meters/", ["tbody th a"], "accuracy/"),
    "two meters compared": ("meters/", ["tbody th a"], "compare/"),
    "a calibration": ("meters/", ["tbody th a", "a[href*='/calibrations/']"], ""),
    "the search for the part": ("checks/?verdict=fail", ["a:has(> .verdict)"], "find-the-part/"),
    "the limits of a survey": ("ratings/", ["a[href*='/survey-limits/']"], ""),
    "a person": ("people/", ["tbody th a"], ""),
    "a driver's label": ("find/?q=Coach+12", ["a[href*='/label/']"], ""),
}
MOST_BYTES = 150_000
SMALLEST = {"width": 320, "height": 640}


@pytest.fixture
def at_the_desk(desk: Page) -> Page:
    desk.set_viewport_size(DESK)  # type: ignore[arg-type]
    desk.emulate_media(color_scheme="light")
    return desk


def open_vehicle(page: Page, fleet_number: str) -> None:
    page.goto(f"/demo/find/?q={fleet_number}")
    assert "/demo/vehicles/" in page.url


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_clean_in_both_schemes_and_at_both_sizes(at_the_desk: Page, name: str) -> None:
    at_the_desk.goto(f"/demo/{name}/")
    found = {}
    for scheme, size in (("light", DESK), ("dark", DESK), ("light", PHONE)):
        at_the_desk.emulate_media(color_scheme=_scheme(scheme))
        at_the_desk.set_viewport_size(size)  # type: ignore[arg-type]
        found[scheme, size["width"]] = violations(at_the_desk)
    assert found == {key: [] for key in found}


@pytest.mark.parametrize("name", ABOUT_ONE)
def test_a_page_about_one_thing_is_clean_and_fits(at_the_desk: Page, name: str) -> None:
    at, links, then = ABOUT_ONE[name]
    at_the_desk.goto(f"/demo/{at}")
    for link in links:
        at_the_desk.goto(at_the_desk.locator(f"main {link}").first.get_attribute("href") or "")
    if then:
        at_the_desk.goto(at_the_desk.url + then)
    for scheme, size in (("light", DESK), ("dark", PHONE)):
        at_the_desk.emulate_media(color_scheme=_scheme(scheme))
        at_the_desk.set_viewport_size(size)  # type: ignore[arg-type]
        assert violations(at_the_desk) == [], (scheme, size)
    at_the_desk.set_viewport_size(SMALLEST)  # type: ignore[arg-type]
    assert not scrolls_sideways(at_the_desk)


@pytest.mark.parametrize("name", ["", "password/", "second-step/", "sessions/"])
def test_a_page_of_the_account_is_clean_and_fits(at_the_desk: Page, name: str) -> None:
    at_the_desk.goto(f"/account/{name}")
    assert violations(at_the_desk) == []
    at_the_desk.set_viewport_size(SMALLEST)  # type: ignore[arg-type]
    assert not scrolls_sideways(at_the_desk)


def test_nobody_is_led_from_the_list_of_pages_to_a_page_shut_to_them(browser: Browser, served_pages: str) -> None:
    with watched_page(browser, served_pages) as page:
        sign_in(page, "demo-viewer")
        page.goto("/demo/more/")
        links = page.eval_on_selector_all("main ul a", "all => all.map(one => one.getAttribute('href'))")
        page.goto("/demo/check/")
        links.append(page.locator(".units a").first.get_attribute("href"))
        shut = [link for link in links if page.request.get(link).status != 200]
        assert len(links) > 10
        assert shut == []


@pytest.mark.parametrize("fleet_number", ["truck24", "Coach 12", "truck-29", "Truck 26"])
def test_a_vehicle_is_clean_in_both_schemes(at_the_desk: Page, fleet_number: str) -> None:
    open_vehicle(at_the_desk, fleet_number)
    for scheme in SCHEMES:
        at_the_desk.emulate_media(color_scheme=_scheme(scheme))
        assert violations(at_the_desk) == []


def test_axe_finds_what_is_wrong_when_something_is(at_the_desk: Page) -> None:
    at_the_desk.goto("/demo/more/")
    at_the_desk.evaluate("document.querySelector('h1').outerHTML = '<h1></h1><img src=\"/static/dashboard/mark.svg\">'")
    assert {line.split(":")[0] for line in violations(at_the_desk)} >= {"image-alt", "empty-heading"}


def test_no_page_scrolls_sideways_at_320_px_or_with_text_at_200_percent(at_the_desk: Page) -> None:
    sideways = []
    for name in PAGES:
        at_the_desk.set_viewport_size(SMALLEST)  # type: ignore[arg-type]
        at_the_desk.goto(f"/demo/{name}/")
        sideways += [f"{name} at 320 px"] if scrolls_sideways(at_the_desk) else []
        at_the_desk.set_viewport_size(PHONE)  # type: ignore[arg-type]
        at_the_desk.evaluate("document.documentElement.style.fontSize = '200%'")
        sideways += [f"{name} at 200 %"] if scrolls_sideways(at_the_desk) else []
    assert sideways == []


def test_text_at_200_percent_is_twice_as_large_and_nothing_is_cut_off(at_the_desk: Page) -> None:
    at_the_desk.goto("/demo/today/")
    size = "parseFloat(getComputedStyle(document.querySelector('{0}')).fontSize)"
    before = [at_the_desk.evaluate(size.format(what)) for what in ("h1", "p", "td", "nav a")]
    at_the_desk.evaluate("document.documentElement.style.fontSize = '200%'")
    after = [at_the_desk.evaluate(size.format(what)) for what in ("h1", "p", "td", "nav a")]
    assert after == [2 * each for each in before]
    assert not scrolls_sideways(at_the_desk)


def test_phone_targets_are_at_least_56_px_high(at_the_desk: Page) -> None:
    at_the_desk.set_viewport_size(PHONE)  # type: ignore[arg-type]
    open_vehicle(at_the_desk, "truck24")
    for target in ("nav.phone a", "a.accent"):
        heights = at_the_desk.eval_on_selector_all(target, "all => all.map(one => one.getBoundingClientRect().height)")
        assert heights
        assert min(heights) >= 56


def test_the_worst_vehicle_is_reached_and_the_menu_walked_with_the_keyboard_alone(
    browser: Browser, served_pages: str
) -> None:
    with watched_page(browser, served_pages) as page:
        page.goto("/demo/today/")
        # The field takes the focus by itself once the page is drawn; what is typed before that goes nowhere.
        page.wait_for_function("document.activeElement.id === 'id_username'")
        page.keyboard.type("demo-manager")
        page.keyboard.press("Tab")
        page.keyboard.type("four coils cool slowly")
        page.keyboard.press("Enter")
        page.wait_for_url(lambda url: "/sign-in/" not in url)
        page.keyboard.press("Tab")
        assert _focused(page) == "Skip to the page"
        page.keyboard.press("Enter")
        _tab_to(page, page.locator("ol.decisions a").first.inner_text())
        page.keyboard.press("Enter")
        page.wait_for_url("**/demo/vehicles/**")
        _tab_to(page, "Due")
        page.keyboard.press("Enter")
        page.wait_for_url("**/demo/due/")


def test_every_focused_thing_shows_an_outline(at_the_desk: Page) -> None:
    at_the_desk.goto("/demo/due/")
    for _step in range(25):
        at_the_desk.keyboard.press("Tab")
        width = at_the_desk.evaluate("parseFloat(getComputedStyle(document.activeElement).outlineWidth)")
        assert width >= 2, _focused(at_the_desk)


def test_the_sign_in_page_with_its_styles_and_scripts_weighs_at_most_150_kb(page: Page) -> None:
    answers: list[Response] = []
    page.on("response", lambda answer: answers.append(answer))
    page.goto("/sign-in/", wait_until="networkidle")
    sizes = [answer.request.sizes() for answer in answers]
    assert any(answer.url.endswith(".css") for answer in answers)
    assert 0 < sum(each["responseHeadersSize"] + each["responseBodySize"] for each in sizes) <= MOST_BYTES


def test_a_wrong_password_says_so_and_stays(page: Page) -> None:
    page.goto("/sign-in/")
    page.get_by_label("Name").fill("demo-manager")
    page.get_by_label("Password").fill("wrong")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert")).to_be_visible()
    assert violations(page) == []


def test_signing_out_ends_the_session(page: Page) -> None:
    sign_in(page, "demo-viewer")
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_load_state()
    page.goto("/demo/today/")
    assert "/sign-in/" in page.url


def _scheme(name: str) -> Literal["light", "dark"]:
    return "dark" if name == "dark" else "light"


def _focused(page: Page) -> Any:
    return page.evaluate(
        "document.activeElement.innerText || document.activeElement.name || document.activeElement.tagName"
    )


def _tab_to(page: Page, text: str) -> None:
    for _step in range(60):
        page.keyboard.press("Tab")
        if _focused(page) == text:
            return
    raise AssertionError(f"{text} is not reached")
