"""The bench of judging anew: it counts what a run really did, and its table says both figures beside the aim."""

from inspections.bench.rejudging import AIM_A_MINUTE, _timed, rejudging_table
from inspections.models import Judgement, Rejudging
from tests.builders import Workshop
from tests.inspections.visits import recorded


def test_what_is_timed_is_compared_and_then_stored(workshop: Workshop) -> None:
    check = recorded(workshop, verdict="conditional_pass").inspection
    figures = _timed("compared", workshop.organisation)
    assert check.judgements.count() == 1
    figures |= _timed("stored", workshop.organisation)
    assert Judgement.objects.get(inspection=check, number=2).verdict == "pass"
    assert set(Rejudging.objects.values_list("state", flat=True)) == {"compared", "done"}
    assert (figures["compared_changed"], figures["stored_changed"]) == (1, 1)
    table = rejudging_table(figures | {"engine": "any", "checks": 1, "aim_a_minute": AIM_A_MINUTE})
    assert table.count("aim 10,000") == 2
    assert table.count("1 with another verdict") == 2
