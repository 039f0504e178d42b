"""The log: one line a record, the request's id in each, nothing secret in any."""

import io
import logging
import re
from collections.abc import Iterator
from logging.config import dictConfig
from typing import Any

import pytest
from django.conf import settings
from django.test import Client

from accounts.request_ids import begin_request, end_request
from config.log_lines import HIDDEN, OneLine, RequestId, on_one_line, without_secrets

LOGGING: dict[str, Any] = settings.LOGGING
FORMAT = LOGGING["formatters"]["line"]["format"]
LINE = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z [A-Z]+ [\w.]+ \S+ .*")
TOKEN = "cbk_" + "0123456789abcdef" * 4


@pytest.fixture
def log() -> Iterator[io.StringIO]:
    """Catch what the service's own handler would write."""
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(OneLine(FORMAT))
    handler.addFilter(RequestId())
    root = logging.getLogger()
    root.addHandler(handler)
    yield stream
    root.removeHandler(handler)


@pytest.mark.parametrize(
    "value",
    [
        "a\n2026-11-25T00:00:00.000Z ERROR django.request - forged",
        "a\r\nb",
        "a\x1b[2J\x1b]0;title\x07",
        "a\u2028b\u2029c\x85d\x0be\x0cf",
        "a\u202eb\u2066c",
        "a\x00b",
    ],
)
def test_no_value_can_begin_a_line_or_drive_a_terminal(value: str, log: io.StringIO) -> None:
    logging.getLogger("coilbook.test").warning("seen: %s", value)
    (line,) = log.getvalue().splitlines()
    assert LINE.fullmatch(line)
    assert line.isprintable()


def test_a_traceback_stands_in_its_own_line(log: io.StringIO) -> None:
    try:
        raise ValueError("first\nsecond")
    except ValueError:
        logging.getLogger("coilbook.test").exception("failed")
    (line,) = log.getvalue().splitlines()
    assert "Traceback" in line
    assert r"first\nsecond" in line


@pytest.mark.parametrize(
    ("text", "secret"),
    [
        (f"Authorization: Bearer {TOKEN}", TOKEN),
        (f"{{'HTTP_AUTHORIZATION': 'Bearer {TOKEN}'}}", TOKEN),
        (f"GET /?token={TOKEN}", TOKEN),
        ("password=hunter22 next", "hunter22"),
        ('{"password": "hunter \\" 22", "name": "x"}', "hunter"),
        ("new_password1=hunter22&new_password2=hunter22", "hunter22"),
        ("Cookie: sessionid=abc123; csrftoken=def456", "abc123"),
        ("Cookie: sessionid=abc123; csrftoken=def456", "def456"),
        ("{'sessionid': 'abc123'}", "abc123"),
        ("recovery_code=ABCD-EFGH", "ABCD-EFGH"),
        ("recovery_codes: ['ABCD-EFGH', 'IJKL-MNOP']", "IJKL"),
        ("otp_token=123456", "123456"),
        ('Idempotency-Key: "8e03978e"', "8e03978e"),
    ],
)
def test_secrets_are_hidden(text: str, secret: str, log: io.StringIO) -> None:
    logging.getLogger("coilbook.test").error(text)
    line = log.getvalue()
    assert secret not in line
    assert HIDDEN in line


@pytest.mark.parametrize("text", ["vehicle V 17 changed", "status: 404", "the password rules", "stage 3: 35.5 A"])
def test_other_words_stay_as_they_are(text: str) -> None:
    assert on_one_line(without_secrets(text)) == text


def test_a_line_names_the_request_it_belongs_to(log: io.StringIO) -> None:
    named = begin_request("abcdef-123456")
    logging.getLogger("coilbook.test").error("inside")
    end_request()
    logging.getLogger("coilbook.test").error("outside")
    inside, outside = log.getvalue().splitlines()
    assert f" {named} inside" in inside
    assert " - outside" in outside


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/api/v1/due/", "/api/v1/nowhere/", "/healthz"])
def test_an_answer_and_its_log_lines_name_the_same_request(path: str, log: io.StringIO) -> None:
    answer: Any = Client().get(path, headers={"x-request-id": "from-the-proxy-1"})
    assert answer["X-Request-ID"] == "from-the-proxy-1"
    assert all(" from-the-proxy-1 " in line for line in log.getvalue().splitlines())
    if answer.status_code >= 400:
        assert "from-the-proxy-1" in log.getvalue()


@pytest.mark.django_db
@pytest.mark.parametrize("sent", ["x\ny" * 9, "short", "a" * 65, "<script>aaaaaa"])
def test_an_id_that_could_break_something_is_replaced(sent: str) -> None:
    answer = Client().get("/healthz", headers={"x-request-id": sent})
    assert re.fullmatch(r"[0-9a-f-]{36}", answer["X-Request-ID"])


@pytest.mark.django_db
def test_what_a_stranger_sends_is_not_in_the_log(log: io.StringIO) -> None:
    headers = {"authorization": f"Bearer {TOKEN}", "idempotency-key": '"k-e-y"', "cookie": "sessionid=s3ss10n"}
    answer = Client().post(
        "/api/v1/inspections/%0aforged", b'{"password": "hunter22"}', content_type="application/json", headers=headers
    )
    assert answer.status_code == 404
    (line,) = log.getvalue().splitlines()
    assert not [secret for secret in (TOKEN, "k-e-y", "s3ss10n", "hunter22") if secret in line]
    assert r"\nforged" in line


def test_the_service_writes_its_log_by_these_rules() -> None:
    dictConfig(LOGGING | {"disable_existing_loggers": False})
    (handler,) = [each for each in logging.getLogger().handlers if type(each.formatter) is OneLine]
    assert [type(each) for each in handler.filters] == [RequestId]
    assert not logging.getLogger("django").handlers
    assert logging.getLogger("django").propagate
