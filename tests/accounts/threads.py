"""The same work done by several real connections at once."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import TypeVar

from django.db import connections

Result = TypeVar("Result")


def at_once(calls: Sequence[Callable[[], Result]]) -> list[Result]:
    """Start every call in a thread of its own at one moment, and return the results in the calls' order."""
    start = Barrier(len(calls), timeout=30)

    def run(call: Callable[[], Result]) -> Result:
        start.wait()
        try:
            return call()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(calls)) as threads:
        return list(threads.map(run, calls))
