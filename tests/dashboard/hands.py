"""Hands on a phone or a keyboard, taking a check in a real browser; taps and fields are counted."""

import re
from collections.abc import Callable

from playwright.sync_api import Page

from tests.dashboard.browsing import sign_in

LONGEST_WAY = 60
MOST_PATIENCE_MS = 10_000
Look = Callable[[Page], None]


def _nothing(_page: Page) -> None:
    """Look at nothing."""


class Hands:
    """A person with a page; `look` is called on every page they come to."""

    def __init__(self, page: Page, look: Look = _nothing) -> None:
        """Take the page."""
        self.page, self.look, self.main = page, look, page.locator("main, .demo-strip")
        page.set_default_timeout(MOST_PATIENCE_MS)
        self.taps = self.fields = 0

    def tap(self, name: str, role: str = "button") -> None:
        """Tap a button or link by its words, and look at what comes."""
        self.main.get_by_role(role, name=name, exact=True).first.click()  # type: ignore[arg-type]
        self.page.wait_for_load_state()
        self.taps += 1
        self.look(self.page)

    def tick(self, label: str) -> None:
        """Tap a box or a radio button by its label."""
        self.main.get_by_label(label, exact=True).check()
        self.taps += 1

    def write(self, label: str, text: str, nth: int = 0) -> None:
        """Fill a field by its label, and leave it."""
        field = self.main.get_by_label(label, exact=True).nth(nth)
        field.fill(text)
        field.press("Tab")
        self.fields += 1

    def pair(self, volts: str, amps: str) -> None:
        """Type volts and amps."""
        self.write("Volts", volts)
        self.write("Amps", amps)


class Checker(Hands):
    """A technician who takes a check of a demo unit."""

    def start(self, fleet_number: str, username: str = "demo-technician") -> "Checker":
        """Sign in, find the unit and make the vehicle safe."""
        sign_in(self.page, username)
        self.page.goto("/demo/check/")
        self.look(self.page)
        self.write("Fleet number, registration, VIN or serial", fleet_number)
        self.tap("Find")
        self.page.locator(".units a", has_text=fleet_number).first.click()
        self.page.wait_for_load_state()
        self.look(self.page)
        for box in self.page.locator(".ticks input").all():
            box.check()
        self.tick("No air suspension")
        self.tick("Nobody in the cab")
        self.tap("Next: meters and temperature")
        return self

    def conditions(self, celsius: str = "14,5") -> "Checker":
        """Say how warm it is, and learn what a healthy unit should show."""
        self.tick("Parked: the coils are as warm as the air")
        self.write(self.page.locator("label[for=id_coil_temperature_c]").inner_text(), celsius)
        self.tap("Next: can it be clear?")
        caption = self.page.locator("caption").inner_text()
        shown = re.search(r"([\d.]+) V", caption)
        assert shown, caption
        self.volts = shown[1]
        self.amps = [cell.removesuffix(" A") for cell in self.page.locator("tbody td:nth-child(2)").all_inner_texts()]
        self.page.locator("a.next").click()
        self.page.wait_for_load_state()
        self.look(self.page)
        return self

    def all_off(self) -> "Checker":
        """Read volts and amps with everything off."""
        self.pair(self.volts, "0")
        self.tap("Next")
        return self

    def stage(self, amps: str) -> None:
        """Read one stage, outputs and lamps as expected."""
        self.pair(self.volts, amps)
        self.tick("As expected")
        self.tap("Next")

    def healthy(self, fleet_number: str) -> "Checker":
        """Read every stage of a healthy unit, as far as looking it over."""
        self.start(fleet_number).conditions().all_off()
        for amps in self.amps:
            self.stage(amps)
        return self

    def store(self) -> "Checker":
        """Store the check and see its verdict."""
        self.tap("Store and see the verdict")
        return self

    def put_back_and_sign(self) -> "Checker":
        """Tick the put-back list and sign."""
        for words in ("Test leads off", "Plugs on", "Covers on", "Isolator on", "Interlock restored"):
            self.tick(words)
        self.tap("Sign")
        return self


class Keyboard:
    """A person without a pointing device."""

    def __init__(self, page: Page) -> None:
        """Take the page."""
        self.page = page

    def to(self, name: str) -> None:
        """Tab to the field, box, button or link with this name."""
        for _step in range(LONGEST_WAY):
            self.page.keyboard.press("Tab")
            if self.page.evaluate(NAME_OF_FOCUSED) == name:
                return
        raise AssertionError(f"{name!r} is not reached by the Tab key")

    def press(self, key: str) -> None:
        """Press a key and wait for what it leads to."""
        self.page.keyboard.press(key)
        self.page.wait_for_load_state()

    def write(self, name: str, text: str) -> None:
        """Tab to a field and type."""
        self.to(name)
        self.page.keyboard.type(text)


NAME_OF_FOCUSED = """(() => {
  const focused = document.activeElement;
  const label = focused.labels && focused.labels[0];
  return (label || focused).innerText.trim();
})()"""
