"""Smoke or smell: everything stops, whatever was read."""

from tests import builders
from tests.dashboard.taking import Taker


def test_smoke_stops_a_check_before_anything_of_the_stage_is_read(workshop: builders.Workshop) -> None:
    taker = Taker(workshop)
    taker.ready()
    taker.read()
    taker.send(stop="smoke")
    assert taker.at.endswith("reading/2/stop/")
    page = taker.client.get(taker.address(taker.at)).content.decode()
    assert "Stop. Everything off." in page
    assert "Stopped at stage 2: smoke or smell." in page
    taker.send(reason="Stopped at stage 2: smoke or smell.")
    form = taker.client.get(taker.address(taker.at)).context["form"]
    assert form["notes"].value() == "Stopped at stage 2: smoke or smell."
    check = taker.stored(notes=form["notes"].value())
    assert check.verdict == "undetermined"
    assert [entry["stage"] for entry in check.evidence["stages_not_read"]] == [2, 3, 4]


def test_after_a_stop_reading_stages_together_is_not_offered(workshop: builders.Workshop) -> None:
    taker = Taker(workshop)
    taker.healthy()
    assert b"Read stages together" in taker.client.get(taker.address(taker.at)).content
    taker.at = taker.draft("reading/4/stop/")
    taker.send(reason="Stopped at stage 4: smoke or smell.")
    assert b"Read stages together" not in taker.client.get(taker.address(taker.at)).content
