"""With CI=true a skip that nobody expects fails the run, so that nothing is skipped in silence."""

import os
from collections.abc import Iterable
from pathlib import Path

import pytest

EXPECTED = Path(__file__).parents[1] / "expected_skips.txt"
seen: list[tuple[str, str]] = []


def expected_reasons(text: str, engine: str) -> set[str]:
    """Return the reasons expected on an engine."""
    lines = (line.partition(": ") for line in text.splitlines() if line and not line.startswith("#"))
    return {reason for name, _, reason in lines if name == engine}


def unexpected(skips: Iterable[tuple[str, str]]) -> list[str]:
    """Return a line for each skip whose reason is not among those expected on this engine."""
    engine = "postgresql" if os.environ.get("DATABASE_URL", "").startswith("postgres") else "sqlite"
    allowed = expected_reasons(EXPECTED.read_text("utf-8"), engine)
    return [f"{where}: {reason}" for where, reason in skips if reason not in allowed]


def in_ci() -> bool:
    """Tell whether skips are judged at all."""
    return os.environ.get("CI", "").lower() in ("1", "true", "yes")


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Keep the reason of a skipped test; an expected failure is none."""
    if report.skipped and not hasattr(report, "wasxfail"):
        seen.append((report.nodeid, _reason(report.longrepr)))


def pytest_collectreport(report: pytest.CollectReport) -> None:
    """Keep the reason of a file that was skipped as a whole."""
    if report.skipped:
        seen.append((report.nodeid, _reason(report.longrepr)))


def _reason(longrepr: object) -> str:
    text = str(longrepr[2]) if isinstance(longrepr, tuple) else str(longrepr)
    return text.removeprefix("Skipped: ")


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail the run."""
    if in_ci() and unexpected(seen):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Name what was skipped and not expected to be."""
    if in_ci() and (lines := unexpected(seen)):
        terminalreporter.section("skipped in silence", red=True)
        for line in lines:
            terminalreporter.line(line)
