"""The bench of fault finding: simulated cases, one row per cause code, one for pairs and one for sound units."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any
from zlib import crc32

import numpy as np

from inspections.bench.causes import DRAWS, drawn
from inspections.bench.priors import CALIBRATION, drawn_from_priors
from inspections.bench.session import Session, play
from inspections.bench.speed import LIMIT_MS, ranking_speed

SEED = 20_261_125
RANKINGS_TIMED = {"small": 10, "full": 100}
CASES = {
    "small": {"cause": 6, "pair": 12, "healthy": 40, CALIBRATION: 40},
    "full": {"cause": 90, "pair": 200, "healthy": 600, CALIBRATION: 600},
}
AIMS = {
    "group_right": 0.98,
    "asked_median": 1.0,
    "asked_95": 3.0,
    "healthy_called_faulty": 0.01,
    "milliseconds": LIMIT_MS,
}


@dataclass(frozen=True, slots=True)
class Row:
    """How the cases of one cause went."""

    name: str
    cases: int
    first_right: float
    among_three: float
    group_right: float
    asked_median: float
    asked_95: float
    asked_most: int
    milliseconds_median: float
    milliseconds_95: float


@dataclass(frozen=True, slots=True)
class Bin:
    """First answers of about one probability, and how often they were right."""

    answers: int
    stated: float
    right: float


def diagnosis_bench(size: str, names: Sequence[str] = ()) -> dict[str, Any]:
    """Return the figures of every row, of all faults together, and of the calibration of the first answer."""
    wanted = list(names) or [*DRAWS, "pair", "healthy"]
    sessions = {name: _sessions(name, CASES[size].get(name, CASES[size]["cause"])) for name in wanted}
    rows = [_row(name, found) for name, found in sessions.items()]
    faulty = [session for name, found in sessions.items() if name != "healthy" for session in found]
    answer: dict[str, Any] = {"aims": AIMS, "rows": [asdict(row) for row in rows]}
    if faulty:
        answer["all_faults"] = asdict(_row("all faults", faulty))
    if "healthy" in sessions:
        answer["healthy_called_faulty"] = _called_faulty(sessions["healthy"])
    if not names:
        answer["speed"] = asdict(ranking_speed(SEED, RANKINGS_TIMED[size]))
        answer["calibration"] = [asdict(one) for one in _calibration(CASES[size][CALIBRATION])]
    return answer


def _sessions(name: str, count: int) -> list[Session]:
    return [_session(name, number) for number in range(count)]


def _session(name: str, number: int) -> Session:
    generator = np.random.default_rng([SEED, crc32(name.encode()), number])
    case = drawn_from_priors(generator) if name == CALIBRATION else drawn(generator, name)
    return play(case, generator, ask=name != CALIBRATION)


def _row(name: str, sessions: Sequence[Session]) -> Row:
    if not sessions:
        raise ValueError(f"no case of {name} was played")
    asked = [len(session.asked) for session in sessions]
    milliseconds = [1000 * session.seconds for session in sessions]
    return Row(
        name,
        len(sessions),
        _share(_is_first(session) for session in sessions),
        _share(bool(set(_named(session)[:3]) & set(session.case.truth)) for session in sessions),
        _share(_group_is_right(session) for session in sessions),
        float(np.median(asked)),
        float(np.percentile(asked, 95)),
        max(asked),
        float(np.median(milliseconds)),
        float(np.percentile(milliseconds, 95)),
    )


def _share(found: Iterable[bool]) -> float:
    return float(np.mean([*found]))


def _named(session: Session) -> list[tuple[str, int | None]]:
    return [(cause.cause, cause.stage) for cause in session.first.hypotheses]


def _is_first(session: Session) -> bool:
    return _named(session)[0] in session.case.truth


def _group_is_right(session: Session) -> bool:
    """Return whether the first group holds all that is wrong, after the readings asked for."""
    first = {(cause.cause, cause.stage) for cause in session.last.hypotheses if cause.group == 1}
    return set(session.case.truth) <= first


def _called_faulty(sessions: Sequence[Session]) -> float:
    return _share(session.last.hypotheses[0].cause != "healthy" for session in sessions)


def _calibration(count: int) -> list[Bin]:
    """Return the first answers of cases drawn from the stated priors, by the probability they were given."""
    sessions = _sessions(CALIBRATION, count)
    stated = np.array([session.first.hypotheses[0].probability for session in sessions])
    right = np.array([_is_first(session) for session in sessions])
    edges = [0.0, 0.5, 0.8, 0.95, 1.01]
    within = [(stated >= low) & (stated < high) for low, high in pairwise(edges)]
    return [Bin(int(w.sum()), float(stated[w].mean()), float(right[w].mean())) for w in within if w.any()]


def table(answer: dict[str, Any]) -> str:
    """Return the figures as lines to read."""
    head = f"{'':24}{'cases':>6}{'first':>8}{'of 3':>8}{'group':>8}{'asked 50 %':>12}{'95 %':>6}{'most':>6}"
    head += f"{'ms 50 %':>9}{'95 %':>7}"
    rows = [*answer["rows"], *filter(None, [answer.get("all_faults")])]
    lines = [head, *map(_line, rows)]
    if "healthy_called_faulty" in answer:
        lines.append(f"healthy called faulty: {answer['healthy_called_faulty']:.2%}")
    for one in answer.get("calibration", []):
        lines.append(f"stated {one['stated']:.3f}, right {one['right']:.3f} of {one['answers']} first answers")
    if speed := answer.get("speed"):
        lines.append(
            f"four stages, confirmed causes, next reading: {speed['share_of_limit_median']:.2f} of {LIMIT_MS:.0f} ms "
            f"(95 %: {speed['share_of_limit_95']:.2f}), {speed['times_a_verdict']:.0f} times a verdict alone, "
            f"processor time of {speed['rankings']} rankings"
        )
    return "\n".join(lines)


def _line(row: dict[str, float]) -> str:
    return (
        f"{row['name']:24}{row['cases']:6d}{row['first_right']:8.2f}{row['among_three']:8.2f}{row['group_right']:8.3f}"
        f"{row['asked_median']:12.0f}{row['asked_95']:6.0f}{row['asked_most']:6d}"
        f"{row['milliseconds_median']:9.0f}{row['milliseconds_95']:7.0f}"
    )
