"""The bench of fault finding: a row per cause code, none of them empty, and figures near their aims."""

import json
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
from django.core.management import call_command

from calc.hypotheses import CAUSES
from inspections.bench.causes import DRAWS, drawn
from inspections.bench.diagnosis import CASES, diagnosis_bench, table
from inspections.bench.session import checked

FEW = {"cause": 2, "pair": 3, "healthy": 8, "calibration": 6}


def test_every_cause_code_has_a_row() -> None:
    assert set(DRAWS) == set(CAUSES)


def test_every_row_draws_what_it_is_named_for() -> None:
    for cause in DRAWS:
        case = drawn(np.random.default_rng(7), cause)
        assert [code for code, _ in case.truth] == [cause]
    assert len(drawn(np.random.default_rng(7), "pair").truth) == 2
    assert drawn(np.random.default_rng(7), "healthy").truth == (("healthy", None),)


def test_the_same_seed_reads_the_same_visit() -> None:
    one, other = (checked(drawn(np.random.default_rng(3), "open_coil"), np.random.default_rng(4)) for _ in range(2))
    assert one == other


def test_an_empty_row_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(CASES, "small", FEW | {"cause": 0})
    with pytest.raises(ValueError, match="no case of open_coil"):
        diagnosis_bench("small", ["open_coil"])


def test_a_few_cases_of_every_cause_end_in_the_right_group(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(CASES, "small", FEW)
    figures = diagnosis_bench("small")
    rows = {row["name"]: row for row in figures["rows"]}
    assert set(rows) == {*CAUSES, "pair", "healthy"}
    assert figures["all_faults"]["group_right"] >= 0.95
    assert figures["all_faults"]["asked_median"] <= 1
    assert figures["all_faults"]["asked_95"] <= 3
    assert figures["healthy_called_faulty"] == 0.0
    assert all(row["name"] in table(figures) for row in figures["rows"])
    # Processor time, so that a busy machine does not fail it: the ranking keeps its limit with room to spare.
    assert 0 < figures["speed"]["share_of_limit_median"] < 1
    assert "of 150 ms" in table(figures)


def test_the_command_says_and_writes_the_figures(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(CASES, "small", {"cause": 1, "pair": 1, "healthy": 1, "calibration": 1})
    said, written = StringIO(), tmp_path / "figures.json"
    call_command("bench", "diagnosis", size="small", json=written, stdout=said)
    assert "healthy called faulty" in said.getvalue()
    assert set(json.loads(written.read_text("utf-8"))["diagnosis"]) >= {"rows", "all_faults", "calibration"}
