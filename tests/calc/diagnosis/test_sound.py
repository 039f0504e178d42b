"""The sound circuit held against many visits at once finds what the fit of all candidates finds of one."""

from dataclasses import replace
from functools import partial
from operator import mul

import numpy as np
import pytest

from calc import circuit_faults as faults
from calc.diagnosis.candidates import sound_candidate
from calc.diagnosis.fit import Problem, fit, strain
from calc.diagnosis.observations import observations_of
from calc.diagnosis.screen import sound_fits, sound_fits_each
from calc.diagnosis.slots import Slots, physical_rows, sound_rows_of
from calc.diagnosis.sound import AT_ONCE, sound_fits_of
from calc.diagnosis.unit import unit_of
from calc.evidence import Evidence, ExtraReading, Meter, RelayBox
from tests.calc.diagnosis.visits import UNITS, visit

# Where the fit settles, two ways to stop differ by far less than anything is compared with.
SAME = 0.001


def varied_visits() -> list[Evidence]:
    """Return sound and faulty units, read by different meters, through different boxes, in more and fewer states."""
    found = []
    for make, rating in UNITS.values():
        for spread in (-0.03, 0.0, 0.02):
            found.append(visit(make(), rating, read_amps=partial(mul, 1 + spread)))
        found.append(visit(make(), rating, look_at_outputs=True))
        found.append(visit(make(), rating, relay_box=RelayBox(fuses="common")))
        found.append(visit(make(), rating, relay_box=RelayBox(fuses="none"), engine_state="off"))
        found.append(visit(make(), rating, ammeter=Meter(3.0, 10, 1.0), coil_temperature_bound_c=30.0))
        found.append(visit(faults.with_retarder_ground(make(), 0.004), rating))
    few = visit(UNITS[12][0]())
    found.append(replace(few, stage_readings=few.stage_readings[:2], rest=None))
    drop = ExtraReading("contact_drop", 0.06, 1, None, None, over_range=False)
    return [*found, replace(few, extra_readings=(drop,))]


def problem_of(evidence: Evidence) -> Problem:
    return Problem.of(evidence, unit_of(evidence), observations_of(evidence))


@pytest.mark.parametrize("evidence", varied_visits()[:6:2] + varied_visits()[8:14:2])
def test_rows_from_medians_and_loadings_are_the_rows_of_the_unit(evidence: Evidence) -> None:
    unit = unit_of(evidence)
    draws = np.random.default_rng(7).normal(size=(5, Slots(unit.stages).draws))
    assert sound_rows_of(unit).at(draws) == pytest.approx(physical_rows(unit, draws), rel=1e-12)


def test_misfit_and_strain_are_those_of_the_fit_of_one_candidate() -> None:
    problems = [problem_of(evidence) for evidence in varied_visits()]
    found = sound_fits_of(problems)
    assert len(found) == len(problems)
    for problem, together in zip(problems, found, strict=True):
        alone = fit(problem, [sound_candidate(problem.unit)])
        assert together.misfit == pytest.approx(float(alone.misfit[0]), rel=SAME, abs=SAME)
        assert together.strain == pytest.approx(strain(problem, alone), rel=SAME, abs=SAME)


def test_each_visit_is_answered_as_if_it_had_come_alone_however_many_come() -> None:
    visits = varied_visits()
    alone = [sound_fits(evidence) for evidence in visits]
    assert set(alone) == {True, False}
    times = AT_ONCE // len(visits) + 2
    assert sound_fits_each(visits * times) == alone * times
    assert sound_fits_each([]) == []
