"""The simulated fleet: an organisation of its own, checks judged like real ones, and the truth beside them."""

import datetime as dt
import json
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from accounts.queries import organisation_called
from accounts.tenancy import organisation_transaction
from inspections.models import Inspection
from inspections.simulation.planted import FAULTS, PlantedFleet, truth_document

UNTIL = dt.date(2026, 11, 1)
ARGUMENTS = {"organisation": "simulated", "installations": 3, "inspections": 2, "seed": 5, "until": "2026-11-01"}


def test_every_kind_of_fault_is_planted_and_shows_in_the_readings() -> None:
    fleet = PlantedFleet(installations=400, inspections=12, seed=3, until=UNTIL)
    assert {truth.fault for truth in fleet.truths} == {"none", *FAULTS}
    unit = next(number for number, truth in enumerate(fleet.truths) if truth.fault == "stage_decline")
    healthy = next(number for number, truth in enumerate(fleet.truths) if truth.fault == "none")
    stage = fleet.truths[unit].stage or 0

    def share_of_stage(of: int) -> np.ndarray:
        single = [[float(r["current_a"]) for r in check.document["stage_readings"][:4]] for check in fleet.checks(of)]
        return np.array([amps[stage - 1] / np.median(amps) for amps in single])

    assert share_of_stage(unit)[-1] < share_of_stage(unit)[0] - 0.02
    assert abs(share_of_stage(healthy)[-1] - share_of_stage(healthy)[0]) < 0.02


def test_the_low_clamp_reads_low_from_its_calibration_on_and_the_truth_says_when() -> None:
    fleet = PlantedFleet(installations=60, inspections=8, seed=3, until=UNTIL)
    (low,) = [clamp for clamp in truth_document(fleet)["clamps"] if clamp["turns_low_by_percent"]]
    from_on = dt.date.fromisoformat(low["turns_low_on"])
    read: dict[bool, list[float]] = {True: [], False: []}
    for unit, truth in enumerate(fleet.truths):
        for check in fleet.checks(unit) if truth.fault == "none" else ():
            if check.clamp == low["clamp"] and check.mistyped_stage is None:
                amps = [float(row["current_a"]) for row in check.document["stage_readings"][:4]]
                read[check.performed_at.date() >= from_on].append(float(np.mean(amps)))
    assert len(read[True]) > 20
    assert -4.0 < 100 * (np.mean(read[True]) / np.mean(read[False]) - 1) < -1.0


def test_without_a_calibration_on_file_only_the_file_differs() -> None:
    with_one, without, small = (
        PlantedFleet(installations=units, inspections=4, seed=3, until=UNTIL, calibration_on_file=on_file)
        for units, on_file in ((60, True), (60, False), (12, False))
    )
    assert list(with_one.checks(7)) == list(without.checks(7))
    (low,) = [clamp for clamp in truth_document(without)["clamps"] if clamp["turns_low_by_percent"]]
    assert not low["calibration_on_file"]
    assert any(clamp["calibration_on_file"] for clamp in truth_document(with_one)["clamps"])
    assert [clamp["turns_low_by_percent"] for clamp in small.meters()] == [-2.5]


def test_equal_arguments_give_an_equal_fleet() -> None:
    one, other = (PlantedFleet(installations=30, inspections=4, seed=8, until=UNTIL) for _ in range(2))
    assert truth_document(one) == truth_document(other)
    assert list(one.checks(7)) == list(other.checks(7))


def test_the_command_records_the_checks_and_writes_the_truth(db: None, tmp_path: Path) -> None:
    out = StringIO()
    call_command("simulate", **ARGUMENTS, truth=tmp_path / "truth.json", stdout=out, stderr=StringIO())
    assert out.getvalue().startswith("simulated: 3 simulated installations with 2 checks each.")
    organisation = organisation_called("simulated")
    assert organisation is not None
    with organisation_transaction(organisation):
        checks = Inspection.objects.of(organisation)
        assert checks.count() == 6
        assert all(level is not None and 8_000 < level < 12_000 for level in checks.values_list("level_1", flat=True))
        assert all(checks.values_list("shared_ground_uohm", flat=True))
    truth = json.loads((tmp_path / "truth.json").read_text())
    assert len(truth["installations"]) == len(truth["units"]) == 3
    with pytest.raises(CommandError, match="There is an organisation"):
        call_command("simulate", **ARGUMENTS, stdout=out)


@pytest.mark.parametrize(
    ("name", "value"),
    [("installations", 0), ("inspections", -1), ("seed", -1), ("until", "soon"), ("until", "2999-01-01")],
)
def test_what_cannot_be_simulated_is_refused_by_name(name: str, value: object) -> None:
    with pytest.raises(CommandError, match=f"--{name}: {value}|--{name}: '{value}'"):
        call_command("simulate", **{**ARGUMENTS, name: value})
