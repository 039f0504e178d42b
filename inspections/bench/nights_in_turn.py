"""Nights done by worker processes: of a fleet by one and by two, and of a larger fleet, in turn."""

import multiprocessing
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from statistics import median
from time import perf_counter

from accounts.models import Organisation
from inspections.bench.database import use_database
from inspections.bench.night_fleet import everything_changes, lengthen_a_history
from inspections.bench.workers import begin, settle, work
from inspections.services.trend_chunks import plan_chunks

ROUNDS = 3
WORKERS = 2
# In the end one unit of the larger fleet has been checked so often more: it must not make all arrays as long.
LONG_HISTORY = 3_000


@dataclass(frozen=True, slots=True)
class Fleet:
    """A fleet and the database that it is in."""

    database: str
    organisation: Organisation


def nights_in_turn(fleet: Fleet, larger: Fleet, rounds_of_larger: int) -> dict[str, float]:
    """Return a night done by one worker, by two, and that of the larger fleet, in turn."""
    alone, together, much = list[float](), list[float](), list[float]()
    with _workers(fleet) as night, _workers(larger) as larger_night:
        # The first night stores every trend and decline, which later nights only change.
        peaks_mb, larger_peaks_mb = [night(WORKERS)[1]], [larger_night(WORKERS)[1]]
        for number in range(ROUNDS):
            turns = [(night, 1, alone, peaks_mb), (night, WORKERS, together, peaks_mb)]
            if number < rounds_of_larger:
                turns.append((larger_night, 1, much, larger_peaks_mb))
            for full_night, workers, seconds, peaks in turns:
                took, peak_mb = full_night(workers)
                seconds.append(took)
                peaks.append(peak_mb)
        lengthen_a_history(larger.organisation, LONG_HISTORY)
        larger_peaks_mb.append(larger_night(1)[1])
    return {
        "one_worker_s": median(alone),
        "workers_s": median(together),
        "gain": median(one / two for one, two in zip(alone, together, strict=True)),
        "memory_mb": max(peaks_mb),
        "larger_s": median(much),
        "times_smaller": median(large / small for large, small in zip(much, alone, strict=False)),
        "larger_memory_mb": max(larger_peaks_mb),
    }


@contextmanager
def _workers(fleet: Fleet) -> Iterator[Callable[[int], tuple[float, float]]]:
    """Give a function that has a full night done by so many processes, and returns seconds and peak memory [MB]."""
    with multiprocessing.get_context("spawn").Pool(WORKERS, begin, [fleet.database]) as pool:
        pool.map(settle, range(WORKERS), chunksize=1)

        def full_night(workers: int) -> tuple[float, float]:
            use_database(fleet.database)
            everything_changes(fleet.organisation)
            plan_chunks(fleet.organisation)
            began = perf_counter()
            peaks = pool.map(work, [fleet.organisation.pk] * workers, chunksize=1)
            return perf_counter() - began, max(peaks)

        yield full_night
