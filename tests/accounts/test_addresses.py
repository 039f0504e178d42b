"""Which address a request came from: what the client writes itself is never believed."""

from typing import Any

import pytest
from django.test import RequestFactory

from accounts.addresses import client_address, counted_address, is_told_by_a_proxy_unknown

DIRECT = "10.0.0.1"


@pytest.mark.parametrize(
    ("proxies", "forwarded", "address"),
    [
        (0, "203.0.113.9", DIRECT),
        (1, None, DIRECT),
        (1, "203.0.113.9", "203.0.113.9"),
        (1, "198.51.100.7, 203.0.113.9", "203.0.113.9"),
        (2, "198.51.100.7, 203.0.113.9, 10.0.0.2", "203.0.113.9"),
        (2, "203.0.113.9", DIRECT),
        (1, "2001:db8::7", "2001:db8::7"),
        (1, "198.51.100.7, unknown", DIRECT),
        (1, "203.0.113.9\r\nX: y", DIRECT),
        (1, "", DIRECT),
    ],
)
def test_only_what_our_own_proxies_appended_is_read(
    settings: Any, proxies: int, forwarded: str | None, address: str
) -> None:
    settings.PROXIES = proxies
    extra = {} if forwarded is None else {"HTTP_X_FORWARDED_FOR": forwarded}
    request = RequestFactory().get("/", REMOTE_ADDR=DIRECT, **extra)  # type: ignore[arg-type]
    assert client_address(request) == address


@pytest.mark.parametrize(
    ("address", "counted"),
    [
        ("203.0.113.9", "203.0.113.9"),
        ("::ffff:203.0.113.9", "203.0.113.9"),
        ("2001:db8:1:2::7", "2001:db8:1:2::"),
        ("2001:db8:1:2:ffff:ffff:ffff:ffff", "2001:db8:1:2::"),
        ("2001:db8:1:3::7", "2001:db8:1:3::"),
        ("", "0.0.0.0"),
        ("no address", "0.0.0.0"),
    ],
)
def test_one_line_is_counted_once_whatever_addresses_it_takes(address: str, counted: str) -> None:
    assert counted_address(RequestFactory().get("/", REMOTE_ADDR=address)) == counted


@pytest.mark.parametrize(
    ("proxies", "direct", "forwarded", "is_unknown"),
    [
        (0, "127.0.0.1", "198.51.100.7", True),
        (0, "10.0.0.1", "198.51.100.7", True),
        (0, "", "198.51.100.7", True),
        (0, "127.0.0.1", None, False),
        (1, "127.0.0.1", "198.51.100.7", False),
        # From the open internet a client may have written it.
        (0, "8.8.8.8", "198.51.100.7", False),
    ],
)
def test_a_proxy_that_no_setting_counts_is_known_by_its_header(
    settings: Any, proxies: int, direct: str, forwarded: str | None, is_unknown: bool
) -> None:
    settings.PROXIES = proxies
    extra = {} if forwarded is None else {"HTTP_X_FORWARDED_FOR": forwarded}
    request = RequestFactory().get("/", REMOTE_ADDR=direct, **extra)  # type: ignore[arg-type]
    assert is_told_by_a_proxy_unknown(request) == is_unknown
