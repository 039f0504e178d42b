"""The page about the night's work tells a book what was done for it, and nothing of how much others have."""

import pytest
from django.test import Client
from django.utils import timezone

from accounts.models import WorkRun
from accounts.roles import Role
from dashboard.views.more import COUNTED
from inspections.services.night_runs import JOB
from tests import builders


@pytest.mark.parametrize(("organisations", "is_told"), [(1, True), (2, False)])
def test_counts_over_several_organisations_are_told_to_none_of_them(
    db: None, organisations: int, is_told: bool
) -> None:
    owner = builders.organisation()
    now = timezone.now()
    counts = {"organisations": organisations, **dict.fromkeys(COUNTED, 98765)}
    WorkRun.objects.create(
        job=JOB, window="2026-11-25T03", state="done", claimed_at=now, finished_at=now, counts=counts
    )
    client = Client()
    client.force_login(builders.member(owner, Role.ADMINISTRATOR).user)
    assert ("98765" in client.get(f"/{owner.slug}/night/").content.decode()) is is_told
