"""POST of an inspection beside a bare nested create and a bare view, each called through its own stack, interleaved."""

import cProfile
import io
import json
import pstats
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from statistics import median
from time import perf_counter
from typing import Any

from django.core.handlers.wsgi import WSGIHandler
from django.db import connection
from django.test import override_settings

from inspections.bench.database import database_of_its_own
from inspections.bench.post_peers import make_bench_tables
from inspections.bench.post_workshop import BenchWorkshop, bench_workshop, visits

SEED = 20_261_125
ROUNDS = {"small": 3, "full": 15}
POSTS = {"small": 20, "full": 60}
IN_A_BATCH = 100
WARM_UP = 5
GOALS = {"nested": 1.5, "document": 0.15, "batch": 8.0}
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


@dataclass(frozen=True, slots=True)
class PostBench:
    """Milliseconds an inspection took each way, and the ratios of their rates; medians over the rounds."""

    engine: str
    rounds: int
    posts_a_round: int
    post_ms: float
    nested_ms: float
    document_ms: float
    in_batch_ms: float
    rate_to_nested: float
    rate_to_document: float
    batch_to_single: float
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
        f"  POST, signed in, judged, due date moved, audited  {figures['post_ms']:7.2f} ms",
        f"  bare nested create, 4 child rows                  {figures['nested_ms']:7.2f} ms",
        f"  bare view, one document                           {figures['document_ms']:7.2f} ms",
        f"  in a batch of {IN_A_BATCH}, per visit                      {figures['in_batch_ms']:7.2f} ms",
    ]
    for name, key in (("nested", "rate_to_nested"), ("document", "rate_to_document"), ("batch", "batch_to_single")):
        lines.append(f"  {key.replace('_', ' '):38}{figures[key]:6.2f}   aim {GOALS[name]:g}")
    lines.append("  where the time of a post goes, as a profiler sees it; steps of Python weigh more there")
    lines += [f"    {step:36}{share:6.1%}" for step, share in figures["shares"].items()]
    return "\n".join(lines)


def _measured(workshop: BenchWorkshop, rounds: int, posts: int) -> PostBench:
    draw = random.Random(SEED)  # noqa: S311
    ours = WSGIHandler()
    with override_settings(MIDDLEWARE=[]):
        bare = WSGIHandler()
    ways: dict[str, tuple[Send, int]] = {
        "post": (_one_by_one(ours, "/api/v1/inspections/", workshop.token), posts),
        "nested": (_one_by_one(bare, "/bench/nested/"), posts),
        "document": (_one_by_one(bare, "/bench/document/"), posts),
        "batch": (_together(ours, "/api/v1/inspections/bulk/", workshop.token), IN_A_BATCH),
    }
    for send, _count in ways.values():
        send(visits(workshop, draw, WARM_UP))
    seconds: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(rounds):
        for name, (send, count) in draw.sample(sorted(ways.items()), len(ways)):
            seconds[name].append(_seconds_each(send, visits(workshop, draw, count)))
    single = seconds["post"]
    return PostBench(
        engine=connection.vendor,
        rounds=rounds,
        posts_a_round=posts,
        post_ms=1e3 * median(single),
        nested_ms=1e3 * median(seconds["nested"]),
        document_ms=1e3 * median(seconds["document"]),
        in_batch_ms=1e3 * median(seconds["batch"]),
        rate_to_nested=_ratio(seconds["nested"], single),
        rate_to_document=_ratio(seconds["document"], single),
        batch_to_single=_ratio(single, seconds["batch"]),
        shares=_shares(ways["post"][0], visits(workshop, draw, posts)),
    )


def _ratio(others: Sequence[float], own: Sequence[float]) -> float:
    return median(other / one for other, one in zip(others, own, strict=True))


def _seconds_each(send: Send, sent: Sequence[Mapping[str, Any]]) -> float:
    started = perf_counter()
    send(sent)
    return (perf_counter() - started) / len(sent)


def _one_by_one(handler: WSGIHandler, path: str, token: str = "") -> Send:
    def send(sent: Sequence[Mapping[str, Any]]) -> None:
        for visit in sent:
            _call(handler, path, visit, token, expected="201")

    return send


def _together(handler: WSGIHandler, path: str, token: str) -> Send:
    def send(sent: Sequence[Mapping[str, Any]]) -> None:
        body = _call(handler, path, {"items": list(sent)}, token, expected="207")
        stored = [result["status"] for result in json.loads(body)["results"]]
        if stored != [201] * len(sent):
            raise RuntimeError(f"the batch was answered {stored}")

    return send


def _call(handler: WSGIHandler, path: str, document: Mapping[str, Any], token: str, *, expected: str) -> bytes:
    """Call a stack as a web server would, without one."""
    body = json.dumps(document).encode()
    environ = {
        "REQUEST_METHOD": "POST",
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
