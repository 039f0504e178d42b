"""A person at a browser: signs in, looks, and everything that goes wrong in the page is written down."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, Request

from inspections.services.demo import DEMO_PASSWORD

CHROMIUM = Path("/usr/bin/chromium")
CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
DESK = {"width": 1280, "height": 800}
PHONE = {"width": 390, "height": 844}
AXE = Path(__file__).parent.parent / "data" / "axe.min.js"
SCHEMES = ["light", "dark"]


class Watch:
    """What a page said on the console, threw, or asked of anybody else."""

    def __init__(self, context: BrowserContext, address: str) -> None:
        """Watch every page of the context."""
        self.address = address
        self.complaints: list[str] = []
        context.on("console", self._console)
        context.on("weberror", lambda error: self.complaints.append(f"threw: {error.error}"))
        context.on("request", self._request)

    def _console(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(f"console: {message.text} ({message.location.get('url')})")

    def _request(self, request: Request) -> None:
        if not request.url.startswith((f"{self.address}/", "data:", "about:")):
            self.complaints.append(f"asked outside: {request.url}")


@contextmanager
def watched_page(browser: Browser, address: str, **options: Any) -> Iterator[Page]:
    """Give a page with cookies of its own, and fail if anything went wrong in it."""
    context = browser.new_context(base_url=address, **({"viewport": DESK} | options))
    watch = Watch(context, address)
    try:
        yield context.new_page()
        assert watch.complaints == []
    finally:
        context.close()


def sign_in(page: Page, username: str, password: str = DEMO_PASSWORD) -> None:
    """Sign in by name and password."""
    page.goto("/sign-in/")
    page.get_by_label("Name").fill(username)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "/sign-in/" not in url)


def violations(page: Page) -> list[str]:
    """Return what axe-core finds wrong with the page as it stands, one line for each element."""
    if not page.evaluate("typeof axe === 'object'"):
        page.evaluate(AXE.read_text())
    found = page.evaluate("axe.run({resultTypes: ['violations']})")["violations"]
    return [f"{rule['id']}: {node['html'][:160]}" for rule in found for node in rule["nodes"]]


def assert_no_violation_in_either_scheme(page: Page) -> None:
    """Look at the page in light and in dark, and leave it in light."""
    for scheme in ("dark", "light"):
        page.emulate_media(color_scheme=scheme)
        assert violations(page) == [], f"{page.url}, {scheme}"


def scrolls_sideways(page: Page) -> bool:
    """Tell whether the page is wider than the window."""
    return bool(page.evaluate("document.documentElement.scrollWidth > window.innerWidth"))
