"""The settings of a service on the open net, and what every answer carries."""

import os
import subprocess
import sys
from typing import Any

import pytest
from django.conf import settings
from django.test import Client

from tests.config.processes import ROOT

PRODUCTION = {
    "COILBOOK_SECURE": "1",
    "COILBOOK_PROXIES": "1",
    "COILBOOK_ALLOWED_HOSTS": "book.test",
    "COILBOOK_HSTS_SECONDS": "31536000",
    "COILBOOK_SECRET_KEY": "k" * 20 + "0123456789abcdefghijABCDEFGHIJ",
    "COILBOOK_NO_BOOTSTRAP": "1",
}
ASKED = (
    "import json, django; from django.conf import settings as s; "
    "print(json.dumps([s.SESSION_COOKIE_SECURE, s.CSRF_COOKIE_SECURE, s.SECURE_SSL_REDIRECT, s.SECURE_HSTS_SECONDS, "
    "s.SECURE_PROXY_SSL_HEADER, s.DEBUG]))"
)


def run(*words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *words],
        cwd=ROOT,
        env=os.environ | PRODUCTION | {"DJANGO_SETTINGS_MODULE": "config.settings"} | environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_the_deployment_check_finds_nothing() -> None:
    found = run("manage.py", "check", "--deploy", "--fail-level", "WARNING", "--tag", "security")
    assert found.returncode == 0, found.stderr
    assert "no issues" in found.stdout


def test_the_deployment_check_would_find_something() -> None:
    found = run("manage.py", "check", "--deploy", "--fail-level", "WARNING", "--tag", "security", COILBOOK_SECURE="0")
    assert "security.W012" in found.stderr
    assert found.returncode == 1


def test_one_setting_makes_cookies_redirect_and_hsts() -> None:
    assert run("-c", ASKED).stdout.strip() == (
        '[true, true, true, 31536000, ["HTTP_X_FORWARDED_PROTO", "https"], false]'
    )


@pytest.mark.parametrize("name", ["COILBOOK_PROXIES", "COILBOOK_SIGN_IN_FAILURES", "COILBOOK_HSTS_SECONDS"])
def test_a_mistyped_setting_is_named(name: str) -> None:
    ended = run("-c", ASKED, **{name: "one"})
    assert ended.returncode == 1
    assert f"{name} is 'one'; allowed is a whole number" in ended.stderr


@pytest.mark.parametrize(
    "name",
    ["COILBOOK_SIGN_IN_FAILURES", "COILBOOK_SIGN_IN_FAILURES_PER_ADDRESS", "COILBOOK_SIGN_IN_LOCK_MINUTES"],
)
def test_a_limit_below_one_is_refused(name: str) -> None:
    ended = run("-c", ASKED, **{name: "0"})
    assert ended.returncode == 1
    assert f"{name} is '0'; allowed is a whole number from 1" in ended.stderr


def test_cookies_are_out_of_reach_of_scripts_and_of_other_sites(db: None) -> None:
    answer: Any = Client().get("/sign-in/")
    cookie = answer.cookies["csrftoken"]
    assert (cookie["httponly"], cookie["samesite"]) == (True, "Lax")
    assert settings.SESSION_COOKIE_HTTPONLY
    assert settings.SESSION_COOKIE_SAMESITE == "Lax"


def test_every_page_carries_the_headers(db: None) -> None:
    for path in ("/sign-in/", "/nothing-here/", "/invitation/unknown/"):
        headers = Client().get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert headers["x-frame-options"] == "DENY"
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
        assert headers["cross-origin-opener-policy"] == "same-origin"
