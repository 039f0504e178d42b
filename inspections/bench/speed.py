"""How much of its time limit a ranking takes: processor time, so that what else the machine does hardly counts."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from time import process_time
from zlib import crc32

import numpy as np

from calc.diagnosis.rank import rank
from calc.evidence import Evidence
from calc.hypotheses import CAUSES
from calc.judge import judge
from inspections.bench.causes import DRAWS, drawn
from inspections.bench.session import checked

STAGES = 4
LIMIT_MS = 150.0
MOST_DRAWN = 200
# As if the organisation's own repairs had confirmed each cause so often.
CONFIRMED_COUNTS = dict.fromkeys(CAUSES, 7)


@dataclass(frozen=True, slots=True)
class Speed:
    """Processor time of ranking with next reading and confirmed causes, as shares of the limit and of a verdict."""

    rankings: int
    milliseconds_median: float
    share_of_limit_median: float
    share_of_limit_95: float
    times_a_verdict: float


def ranking_speed(seed: int, rankings: int) -> Speed:
    """Return the figures for visits of four stages, one cause after the other."""
    visits = _visits(seed, rankings)
    rank(visits[0], CONFIRMED_COUNTS)
    ranked_ms = [_milliseconds(partial(rank, visit, CONFIRMED_COUNTS)) for visit in visits]
    judged_ms = [_milliseconds(partial(judge, visit, rank="never")) for visit in visits]
    median_ms = float(np.median(ranked_ms))
    return Speed(
        len(visits),
        median_ms,
        median_ms / LIMIT_MS,
        float(np.percentile(ranked_ms, 95)) / LIMIT_MS,
        float(np.sum(ranked_ms) / np.sum(judged_ms)),
    )


def _visits(seed: int, rankings: int) -> Sequence[Evidence]:
    found: list[Evidence] = []
    names = list(DRAWS)
    for number in range(MOST_DRAWN):
        name = names[number % len(names)]
        generator = np.random.default_rng([seed, crc32(name.encode()), MOST_DRAWN + number])
        case = drawn(generator, name)
        if case.rating.stages == STAGES:
            found.append(checked(case, generator))
        if len(found) == rankings:
            return found
    raise ValueError(f"only {len(found)} visits of {STAGES} stages were drawn")


def _milliseconds(work: Callable[[], object]) -> float:
    started = process_time()
    work()
    return 1000 * (process_time() - started)
