"""A member reading pages without a browser."""

import re
from typing import Any

from django.test import Client

from accounts.models import Organisation
from accounts.roles import Role
from tests import builders


def signed_in(organisation: Organisation, role: Role = Role.MANAGER) -> Client:
    """Return a new member's session."""
    client = Client()
    client.force_login(builders.member(organisation, role).user)
    return client


def shown(client: Client, organisation: Organisation, path: str, **query: Any) -> str:
    """Return a page's text."""
    answer: Any = client.get(f"/{organisation.slug}/{path}", query)
    assert answer.status_code == 200, (path, answer.status_code)
    return str(answer.content.decode())


def rows_of(html: str) -> list[str]:
    """Return the rows of the page's list, not of the counts above it."""
    table = html.rpartition("<table")[2]
    return re.findall(r"<tr>\s*<th scope=\"row\">", table)
