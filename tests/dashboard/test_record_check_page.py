"""Check the record, the page: asked for there, done in the background, the outcome and the head to keep."""

import json
from typing import Any

import pytest
from django.test import Client

from accounts.anchors import parsed_anchor
from accounts.audit_check import check_record
from accounts.models import Depot
from accounts.roles import Role
from accounts.services.record_checks import run_asked_checks
from tests.dashboard.reading import shown, signed_in
from tests.inspections.told_book import Book, told_book


@pytest.fixture
def book(db: None) -> Book:
    """Return a sound book."""
    return told_book()


def told_manager(book: Book) -> Client:
    """Return the session of a member that the record tells of: one that a test planted would be found."""
    client = Client()
    client.force_login(book.organisation_members()[0].user)
    return client


def post(client: Client, book: Book) -> Any:
    return client.post(f"/{book.organisation.slug}/check-the-record/")


def head_file(client: Client, book: Book) -> Any:
    return client.get(f"/{book.organisation.slug}/check-the-record/head.json")


def test_a_manager_asks_for_a_check_and_takes_the_head_away(book: Book) -> None:
    manager = told_manager(book)
    assert "The record was not checked yet." in shown(manager, book.organisation, "check-the-record/")
    assert head_file(manager, book).status_code == 404
    assert post(manager, book).status_code == 302
    assert "it is not over yet" in shown(manager, book.organisation, "check-the-record/")
    assert run_asked_checks() == 1
    html = shown(manager, book.organisation, "check-the-record/")
    assert "Sound." in html
    answer = head_file(manager, book)
    anchor = parsed_anchor(answer.content.decode())
    assert anchor.hash in html
    assert anchor.merkle_root in html
    assert f"head-{anchor.sequence}.json" in answer["Content-Disposition"]
    assert check_record(book.organisation, anchor=anchor).is_sound
    assert json.loads(answer.content)["organisation"] == str(book.organisation.uuid)


def test_what_does_not_fit_is_named_and_there_is_no_head_to_keep(book: Book) -> None:
    manager = told_manager(book)
    Depot.objects.filter(organisation=book.organisation).update(name="Elsewhere")
    post(manager, book)
    run_asked_checks()
    html = shown(manager, book.organisation, "check-the-record/")
    assert "Not sound." in html
    assert "has other content now" in html
    assert "Different: name." in html
    assert head_file(manager, book).status_code == 404


@pytest.mark.parametrize("role", [Role.VIEWER, Role.TRAINEE, Role.TECHNICIAN])
def test_it_is_for_who_manages_the_book(book: Book, role: Role) -> None:
    client = signed_in(book.organisation, role)
    assert client.get(f"/{book.organisation.slug}/check-the-record/").status_code == 403
    assert (post(client, book).status_code, head_file(client, book).status_code) == (403, 403)
