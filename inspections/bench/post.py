"""POST of an inspection beside a bare nested create and a bare view, each called through its own stack, interleaved."""

import cProfile
import gc
import io
import json
import pstats
import random
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from statistics import median
from time import perf_counter, process_time
from typing import Any, NamedTuple

from django.core.handlers.wsgi import WSGIHandler
from django.db import connection
from django.test import override_settings

from inspections.bench.database import database_of_its_own
from inspections.bench.post_peers import make_bench_tables
from inspections.bench.post_walls import can_go_past_the_walls, connection_as_owner, past_the_walls
from inspections.bench.post_workshop import BenchWorkshop, bench_workshop, visits

SEED = 20_261_125
ROUNDS = {"small": 3, "full": 15}
POSTS = {"small": 20, "full": 60}
IN_A_BATCH = 100
WARM_UP = 5
GOALS = {"post to nested": 1.5, "post to document": 0.15, "batch to post": 8.0}
UNWALLED = ", no walls"
WORDS = {
    "post": "POST, signed in, judged, due date moved, audited",
    "nested": "bare nested create, 4 child rows",
    "document": "bare view, one document",
    "batch": f"in a batch of {IN_A_BATCH}",
    "list": "GET, a page of inspections",
    f"post{UNWALLED}": "the same POST without row-level security",
    f"list{UNWALLED}": "the same GET without row-level security",
}
# What the time of a post is told apart by: a step's name, and the function in which it is spent.
STEPS = {
    "finding who asks": ("api/authentication.py", "authenticate"),
    "checking the form": ("rest_framework/serializers.py", "run_validation"),
    "looking up what it names": ("inspections/services/lookups.py", "on_file"),
    "judging": ("inspections/services/judging.py", "judged_batch"),
    "due date": ("schedules/services/due_dates.py", "refresh_due_dates"),
    "audit": ("accounts/audit.py", "write_audit"),
    "answer as a document": ("api/answers.py", "inspection_answer"),
    "answer as text": ("api/renderers.py", "render"),
    "of all these, in the database": ("django/db/backends/utils.py", "execute"),
}

Send = Callable[[Sequence[Mapping[str, Any]]], None]


class Spent(NamedTuple):
    """Milliseconds of a clock, and of this process's processor: the database's own are not among these."""

    clock_ms: float
    processor_ms: float


@dataclass(frozen=True, slots=True)
class PostBench:
    """What an inspection took each way, and the ratios of the rates; medians over the rounds."""

    engine: str
    rounds: int
    posts_a_round: int
    spent: dict[str, Spent]
    rates: dict[str, Spent]
    walls_to_none: dict[str, Spent]
    shares: dict[str, float]


def bench_post(size: str) -> dict[str, Any]:
    """Return the figures; everything is stored in a database of the bench's own."""
    unlimited = {"REQUESTS_PER_MINUTE_PER_ADDRESS": 10**9, "REQUESTS_PER_MINUTE_PER_TOKEN": 10**9}
    with database_of_its_own(), override_settings(ROOT_URLCONF="inspections.bench.post_urls", **unlimited):
        make_bench_tables()
        return asdict(_measured(bench_workshop(), ROUNDS[size], POSTS[size]))


def post_table(figures: dict[str, Any]) -> str:
    """Return the figures in lines."""
    lines = [
        f"  {figures['engine']}, {figures['rounds']} rounds of {figures['posts_a_round']} posts, a visit of 4 readings",
        f"  {'ms a visit':52}   clock  processor",
    ]
    lines += [f"  {WORDS[way]:52}{clock:8.2f}{processor:11.2f}" for way, (clock, processor) in figures["spent"].items()]
    lines.append(f"  {'rates':52}   clock  processor     aim")
    for name, (clock, processor) in figures["rates"].items():
        lines.append(f"  {name:52}{clock:8.2f}{processor:11.2f}{GOALS[name]:8g}")
    for way, (clock, processor) in figures["walls_to_none"].items():
        lines.append(f"  {f'{way}: time with row-level security to without':52}{clock:8.2f}{processor:11.2f}")
    lines.append("  where the time of a post goes, as a profiler sees it; steps of Python weigh more there")
    lines += [f"    {step:36}{share:6.1%}" for step, share in figures["shares"].items()]
    return "\n".join(lines)


def _measured(workshop: BenchWorkshop, rounds: int, posts: int) -> PostBench:
    with ExitStack() as left_open:
        return _measured_each_way(workshop, rounds, posts, _ways(workshop, posts, left_open))


def _measured_each_way(
    workshop: BenchWorkshop, rounds: int, posts: int, ways: dict[str, tuple[Send, int]]
) -> PostBench:
    draw = random.Random(SEED)  # noqa: S311
    for send, _count in ways.values():
        send(visits(workshop, draw, WARM_UP))
    # As the web server's entry does once everything is loaded.
    gc.collect()
    gc.freeze()
    spent: dict[str, list[Spent]] = {name: [] for name in ways}
    try:
        for _ in range(rounds):
            for name, (send, count) in draw.sample(sorted(ways.items()), len(ways)):
                spent[name].append(_spent_each(send, visits(workshop, draw, count)))
    finally:
        gc.unfreeze()
    walled = [name for name in ways if name + UNWALLED in ways]
    return PostBench(
        engine=connection.vendor,
        rounds=rounds,
        posts_a_round=posts,
        spent={name: Spent(*map(median, zip(*each, strict=True))) for name, each in spent.items()},
        rates={
            "post to nested": _ratio(spent["nested"], spent["post"]),
            "post to document": _ratio(spent["document"], spent["post"]),
            "batch to post": _ratio(spent["post"], spent["batch"]),
        },
        walls_to_none={name: _ratio(spent[name], spent[name + UNWALLED]) for name in walled},
        shares=_shares(ways["post"][0], visits(workshop, draw, posts)),
    )


def _ways(workshop: BenchWorkshop, posts: int, left_open: ExitStack) -> dict[str, tuple[Send, int]]:
    ours = WSGIHandler()
    with override_settings(MIDDLEWARE=[]):
        bare = WSGIHandler()
    ways: dict[str, tuple[Send, int]] = {
        "post": (_one_by_one(ours, "/api/v1/inspections/", workshop.token), posts),
        "nested": (_one_by_one(bare, "/bench/nested/"), posts),
        "document": (_one_by_one(bare, "/bench/document/"), posts),
        "batch": (_together(ours, "/api/v1/inspections/bulk/", workshop.token), IN_A_BATCH),
    }
    if can_go_past_the_walls():
        ways["list"] = (_listed(ours, "/api/v1/inspections/", workshop.token), posts)
        owner = left_open.enter_context(connection_as_owner())
        for name in ("post", "list"):
            send, count = ways[name]
            ways[f"{name}{UNWALLED}"] = past_the_walls(send, owner), count
    return ways


def _ratio(others: Sequence[Spent], own: Sequence[Spent]) -> Spent:
    pairs = list(zip(others, own, strict=True))
    return Spent(
        median(other.clock_ms / one.clock_ms for other, one in pairs),
        median(other.processor_ms / one.processor_ms for other, one in pairs),
    )


def _spent_each(send: Send, sent: Sequence[Mapping[str, Any]]) -> Spent:
    clock_s, processor_s = perf_counter(), process_time()
    send(sent)
    each_ms = 1e3 / len(sent)
    return Spent((perf_counter() - clock_s) * each_ms, (process_time() - processor_s) * each_ms)


def _one_by_one(handler: WSGIHandler, path: str, token: str = "") -> Send:
    def send(sent: Sequence[Mapping[str, Any]]) -> None:
        for visit in sent:
            _call(handler, path, visit, token, expected="201")

    return send


def _together(handler: WSGIHandler, path: str, token: str) -> Send:
    def send(sent: Sequence[Mapping[str, Any]]) -> None:
        body = _call(handler, path, {"items": list(sent)}, token, expected="207")
        # Read as text: what the client makes of the answer is no time of the service's.
        stored = body.count(b'"status":201')
        if stored != len(sent):
            raise RuntimeError(f"of a batch of {len(sent)}, {stored} were stored: {body[:500]!r}")

    return send


def _listed(handler: WSGIHandler, path: str, token: str) -> Send:
    def send(sent: Sequence[Mapping[str, Any]]) -> None:
        for _visit in sent:
            _call(handler, path, {}, token, expected="200", method="GET")

    return send


def _call(
    handler: WSGIHandler, path: str, document: Mapping[str, Any], token: str, *, expected: str, method: str = "POST"
) -> bytes:
    """Call a stack as a web server would, without one."""
    body = json.dumps(document).encode()
    environ = {
        "REQUEST_METHOD": method,
        "PATH_INFO": path,
        "SCRIPT_NAME": "",
        "QUERY_STRING": "",
        "SERVER_NAME": "127.0.0.1",
        "SERVER_PORT": "8000",
        "SERVER_PROTOCOL": "HTTP/1.1",
        "REMOTE_ADDR": "127.0.0.1",
        "CONTENT_TYPE": "application/json",
        "CONTENT_LENGTH": str(len(body)),
        "wsgi.input": io.BytesIO(body),
        "wsgi.url_scheme": "http",
        "wsgi.errors": io.StringIO(),
        **({"HTTP_AUTHORIZATION": f"Bearer {token}"} if token else {}),
    }
    answered: list[str] = []

    def start(status: str, headers: Any, error: Any = None) -> Callable[[bytes], object]:
        answered.append(status)
        return lambda written: None

    response = handler(environ, start)
    content = b"".join(response)
    response.close()
    if not answered[0].startswith(expected):
        raise RuntimeError(f"{path} answered {answered[0]}: {content[:500]!r}")
    return content


def _shares(send: Send, sent: Sequence[Mapping[str, Any]]) -> dict[str, float]:
    profile = cProfile.Profile()
    profile.enable()
    send(sent)
    profile.disable()
    totals = pstats.Stats(profile, stream=io.StringIO())
    stats: dict[tuple[str, int, str], tuple[int, int, float, float, Any]] = totals.stats  # type: ignore[attr-defined]
    whole: float = totals.total_tt  # type: ignore[attr-defined]
    return {step: _cumulative(stats, *where) / whole for step, where in STEPS.items()}


def _cumulative(
    stats: Mapping[tuple[str, int, str], tuple[int, int, float, float, Any]], file: str, name: str
) -> float:
    found = [entry[3] for (path, _line, function), entry in stats.items() if path.endswith(file) and function == name]
    return max(found, default=0.0)
