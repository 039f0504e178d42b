"""Pictures of the pages, taken from the demo book by Debian's Chromium."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
HEIGHTS = {390: 844, 1280: 800}
TALLEST = 1400
Scheme = Literal["light", "dark"]
BOTH: tuple[Scheme, ...] = ("light", "dark")


@dataclass(frozen=True, slots=True)
class Screen:
    """One page: where it lies, or the link that leads to it from there, and what follows that page's address."""

    name: str
    path: str
    follow: str = ""
    then: str = ""
    widths: tuple[int, ...] = (390, 1280)
    schemes: tuple[Scheme, ...] = ("light",)


SCREENS = (
    Screen("today", "/demo/today/", schemes=BOTH),
    Screen("units", "/demo/units/"),
    Screen("find", "/demo/find/?q=coach"),
    Screen("vehicles", "/demo/vehicles/"),
    Screen("vehicle", "/demo/find/?q=Coach+12", schemes=BOTH),
    Screen("checks", "/demo/checks/"),
    Screen("result", "/demo/checks/?verdict=fail", follow="a:has(> .verdict)", schemes=BOTH),
    Screen("working", "/demo/checks/?verdict=fail", follow="a:has(> .verdict)", then="working/"),
    Screen(
        "find-part",
        "/demo/checks/?verdict=fail",
        follow="a:has(> .verdict)",
        then="find-the-part/",
        widths=(390,),
        schemes=BOTH,
    ),
    Screen("record", "/demo/checks/?verdict=fail", follow="a:has(> .verdict)", then="record/", widths=(1280,)),
    Screen("defects", "/demo/defects/"),
    Screen("due", "/demo/due/", schemes=BOTH),
    Screen("losing-current", "/demo/losing-current/"),
    Screen("told", "/demo/told/"),
    Screen("more", "/demo/more/"),
    Screen("meters", "/demo/meters/"),
    Screen("ratings", "/demo/ratings/"),
    Screen("people", "/demo/people/"),
    Screen("rules", "/demo/rules/"),
    Screen("second-step", "/account/second-step/", widths=(390,)),
    Screen("night", "/demo/night/"),
    Screen("check", "/demo/check/", widths=(390,), schemes=BOTH),
)


def take_screens(address: str, folder: Path, *, username: str, password: str, only: set[str]) -> Iterator[Path]:
    """Take every picture, or only those named, and yield each file once it is written."""
    folder.mkdir(parents=True, exist_ok=True)
    with _chromium() as browser, _context(browser, address) as context:
        page = context.new_page()
        if not only or "sign-in" in only:
            yield from _pictures(page, Screen("sign-in", "/sign-in/"), folder)
        _sign_in(page, username, password)
        for screen in SCREENS:
            if not only or screen.name in only:
                yield from _pictures(page, screen, folder)


@contextmanager
def _chromium() -> "Iterator[Browser]":
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        yield browser
        browser.close()


@contextmanager
def _context(browser: "Browser", address: str) -> "Iterator[BrowserContext]":
    context = browser.new_context(base_url=address, reduced_motion="reduce")
    yield context
    context.close()


def _sign_in(page: "Page", username: str, password: str) -> None:
    page.goto("/sign-in/")
    page.fill("#id_username", username)
    page.fill("#id_password", password)
    page.click("main button")
    page.wait_for_url(lambda url: "/sign-in/" not in url)


def _pictures(page: "Page", screen: Screen, folder: Path) -> Iterator[Path]:
    page.goto(screen.path)
    if screen.follow:
        page.locator(screen.follow).first.click()
        page.wait_for_load_state()
    if screen.then:
        page.goto(page.url + screen.then)
    for width in screen.widths:
        page.set_viewport_size({"width": width, "height": HEIGHTS[width]})
        # The window grows with the page, so that what keeps to its lower edge does not cover the middle of a picture.
        height = int(page.evaluate("document.documentElement.scrollHeight"))
        page.set_viewport_size({"width": width, "height": min(height, TALLEST)})
        for scheme in screen.schemes:
            page.emulate_media(color_scheme=scheme)
            file = folder / f"{screen.name}-{width}{'-dark' if scheme == 'dark' else ''}.png"
            page.screenshot(path=file)
            yield file
