"""One server with the demo book for every browser test, and a browser a test file.

The browser is closed with its file: while it is open, Django refuses database work in the same thread.  Browser tests
therefore touch no database of the test process, only the server's pages.
"""

import signal
import subprocess
import sys
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from tests.config.processes import free_port, wait_until_served
from tests.conftest import ROOT
from tests.dashboard.browsing import CHROMIUM, CHROMIUM_ARGUMENTS, PHONE, sign_in, watched_page
from tests.databases import Databases, own_environment

IN_PROCESS = {"CELERY_BROKER_URL": "", "COILBOOK_CACHE_URL": ""}


@pytest.fixture(scope="session")
def pages_environment(tmp_path_factory: pytest.TempPathFactory, databases: Databases) -> Iterator[dict[str, str]]:
    """Return the environment of a server with a demo book of its own."""
    with databases.with_demo_book("pages") as name:
        yield own_environment(tmp_path_factory.mktemp("pages"), name) | IN_PROCESS


@pytest.fixture(scope="session")
def served_pages(pages_environment: dict[str, str]) -> Iterator[str]:
    """Serve the demo book on a free port, and return its address."""
    if not CHROMIUM.exists():
        pytest.skip("needs Chromium")
    port = free_port()
    command = [sys.executable, "manage.py", "up", "--port", str(port)]
    server = subprocess.Popen(command, cwd=ROOT, env=pages_environment, stdout=subprocess.DEVNULL)
    try:
        address = f"http://127.0.0.1:{port}"
        wait_until_served(f"{address}/healthz", server)
        yield address
    finally:
        server.send_signal(signal.SIGINT)
        server.wait(timeout=20)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Start Debian's Chromium."""
    if not CHROMIUM.exists():
        pytest.skip("needs Chromium")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=CHROMIUM_ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def page(browser: Browser, served_pages: str) -> Iterator[Page]:
    """Give a page at the desk, not signed in."""
    with watched_page(browser, served_pages) as page:
        yield page


@pytest.fixture
def phone(browser: Browser, served_pages: str) -> Iterator[Page]:
    """Give a page on a phone, not signed in."""
    with watched_page(browser, served_pages, viewport=PHONE, has_touch=True) as page:
        yield page


@pytest.fixture(scope="module")
def desk(browser: Browser, served_pages: str) -> Iterator[Page]:
    """Give one page for the whole file, signed in as the demo's manager."""
    with watched_page(browser, served_pages) as page:
        sign_in(page, "demo-manager")
        yield page
