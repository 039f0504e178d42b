"""The forward circuit.

The signature tables are this project's own: assumed example values, solved by nodal analysis and once compared with
ngspice 39.3 (5110 node voltages, largest difference 3.2e-9 V).  The closed form below is the second, independent way.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc import circuit_faults as faults
from calc.circuit import Circuit, coils_for_rated_current, passes, solve

IN_LINE_12_OHM = 0.0008 + 0.0015 + 0.00573 + 0.001231
IN_LINE_24_OHM = 0.0012 + 0.0020 + 0.0132 + 0.00157


def twelve_volt_unit() -> Circuit:
    coils = coils_for_rated_current(
        [35.0] * 4, 12.0, in_line_ohm=IN_LINE_12_OHM, coils_in_series=2, coils_in_parallel=2
    )
    return Circuit(14.0, 0.003, 0.0002557 * 4, 0.0008, 0.0008, 0.0015, 0.00573, 0.0, coils, 0.001231, 0.001216)


def twenty_four_volt_unit() -> Circuit:
    coils = coils_for_rated_current(
        [25.0] * 4, 24.0, in_line_ohm=IN_LINE_24_OHM, coils_in_series=4, coils_in_parallel=1
    )
    return Circuit(28.0, 0.006, 0.00277, 0.001, 0.0012, 0.002, 0.0132, 0.0, coils, 0.00157, 0.002044)


# The supply cable of the undersized case: 16 mm2, 8 m, at the largest resistance of IEC 60228 class 5.
THIN_CABLE_OHM = 0.00121 * 8

FAULTS: dict[str, Callable[[Circuit], Circuit]] = {
    "healthy": lambda unit: unit,
    "open_coil": lambda unit: faults.with_open_coil(unit, 3),
    "open_stage_lead": lambda unit: faults.with_open_stage_lead(unit, 3),
    "shorted_turns": lambda unit: faults.with_shorted_turns(unit, 3, 0.25),
    "shorted_coil": lambda unit: faults.with_shorted_turns(unit, 3, 1.0),
    "blown_fuse": lambda unit: faults.with_blown_fuse(unit, 3),
    "contact_not_closing": lambda unit: faults.with_contact_not_closing(unit, 3),
    "contact_resistance": lambda unit: faults.with_contact_resistance(unit, 3, 0.050),
    "stage_joint_resistance": lambda unit: faults.with_stage_joint_resistance(unit, 3, 0.050),
    "welded_contact": lambda unit: faults.with_welded_contact(unit, 3),
    "outputs_exchanged": lambda unit: faults.with_outputs_exchanged(unit, 3, 4),
    "retarder_ground": lambda unit: faults.with_retarder_ground(unit, 0.015),
    "chassis_ground": lambda unit: faults.with_chassis_ground(unit, 0.008),
    "supply_cable": lambda unit: faults.with_supply_cable(unit, THIN_CABLE_OHM),
    "low_supply": lambda unit: faults.with_low_supply(unit, 12.2, 0.008),
    "hot_coils": lambda unit: faults.with_hot_coils(unit, 150.0),
}

Signature = tuple[list[float], list[float], list[float], list[float]]
DEAD_STAGE: Signature = (
    [14.00, 13.76, 13.53, 13.53, 13.30],
    [0.0, 40.1, 78.6, 78.6, 115.6],
    [100, 99, 0, 99],
    [343, 344, 516, 460],
)
LOW_STAGE: Signature = (
    [14.00, 13.76, 13.53, 13.33, 13.11],
    [0.0, 40.1, 78.6, 110.9, 146.6],
    [100, 99, 86, 98],
    [343, 344, 361, 358],
)
HEALTHY: Signature = (
    [14.00, 13.76, 13.53, 13.30, 13.09],
    [0.0, 40.1, 78.6, 115.6, 151.1],
    [100, 99, 99, 98],
    [343, 344, 345, 347],
)
# Box voltage and total current at steps 0 to 4; conductance increments, % of rated; n·V/I, mohm.
SIGNATURES: dict[str, Signature] = {
    "healthy": HEALTHY,
    "open_coil": (
        [14.00, 13.76, 13.53, 13.41, 13.19],
        [0.0, 40.1, 78.6, 97.5, 133.7],
        [100, 99, 50, 98],
        [343, 344, 413, 395],
    ),
    "open_stage_lead": DEAD_STAGE,
    "shorted_turns": (
        [14.00, 13.76, 13.53, 13.29, 13.07],
        [0.0, 40.1, 78.6, 118.1, 153.5],
        [100, 99, 105, 98],
        [343, 344, 338, 341],
    ),
    "shorted_coil": (
        [14.00, 13.76, 13.53, 13.20, 12.99],
        [0.0, 40.1, 78.6, 132.9, 167.7],
        [100, 99, 146, 98],
        [343, 344, 298, 310],
    ),
    "blown_fuse": DEAD_STAGE,
    "contact_not_closing": DEAD_STAGE,
    "contact_resistance": LOW_STAGE,
    "stage_joint_resistance": LOW_STAGE,
    "welded_contact": (
        [13.76, 13.53, 13.30, 13.30, 13.09],
        [40.1, 78.6, 115.6, 115.6, 151.1],
        [99, 99, 0, 98],
        [172, 230, 345, 347],
    ),
    "outputs_exchanged": HEALTHY,
    "retarder_ground": (
        [14.00, 13.77, 13.56, 13.38, 13.21],
        [0.0, 38.5, 72.5, 102.8, 130.0],
        [96, 87, 80, 74],
        [358, 374, 390, 407],
    ),
    "chassis_ground": (
        [14.00, 13.45, 12.94, 12.48, 12.05],
        [0.0, 39.2, 75.2, 108.4, 139.1],
        [100, 99, 99, 98],
        [343, 344, 345, 347],
    ),
    "supply_cable": (
        [14.00, 13.42, 12.90, 12.41, 11.97],
        [0.0, 39.2, 75.0, 107.9, 138.2],
        [100, 99, 99, 98],
        [343, 344, 345, 347],
    ),
    "low_supply": (
        [12.20, 11.82, 11.46, 11.13, 10.82],
        [0.0, 34.5, 66.6, 96.7, 124.9],
        [100, 99, 99, 98],
        [343, 344, 345, 347],
    ),
    "hot_coils": (
        [14.00, 13.84, 13.68, 13.52, 13.38],
        [0.0, 27.0, 53.2, 78.7, 103.5],
        [67, 66, 66, 66],
        [513, 514, 516, 517],
    ),
}


@pytest.mark.parametrize("cause", FAULTS)
def test_a_cumulative_pass_reads_the_signature_of_its_cause(cause: str) -> None:
    volts, amps, increments, resistances = SIGNATURES[cause]
    found = solve(FAULTS[cause](twelve_volt_unit()), passes(4)[1])
    assert found.supply_voltage_v == pytest.approx(volts, abs=0.00501)
    assert found.current_a == pytest.approx(amps, abs=0.0501)
    conductance_s = found.current_a / found.supply_voltage_v
    assert np.diff(conductance_s) * 12.0 / 35.0 * 100 == pytest.approx(increments, abs=0.501)
    assert np.arange(1, 5) / conductance_s[1:] * 1000 == pytest.approx(resistances, abs=0.501)


# At step 4: output 3 to chassis V; stud to output 3 mV; stage 3 A; coil circuit 3 mohm; supply drop mV; chassis to
# battery negative mV; frame to chassis mV; battery posts V.
Extras = tuple[float, float, float, float, float, float, float, float]
OPEN = float("inf")
EXTRA_MEASUREMENTS: dict[str, Extras] = {
    "healthy": (13.00, 87, 37.8, 339, 275, 184, 186, 13.55),
    "open_coil": (13.15, 44, 19.3, 673, 244, 163, 165, 13.60),
    "open_stage_lead": (13.30, 0, 0.0, OPEN, 211, 141, 142, 13.65),
    "shorted_turns": (12.98, 93, 40.3, 317, 280, 187, 189, 13.54),
    "shorted_coil": (12.86, 128, 55.5, 228, 306, 204, 206, 13.50),
    "blown_fuse": (0.14, 13160, 0.0, 339, 211, 141, 142, 13.65),
    "contact_not_closing": (0.14, 13160, 0.0, 339, 211, 141, 142, 13.65),
    "contact_resistance": (11.39, 1727, 33.0, 339, 267, 178, 180, 13.56),
    "stage_joint_resistance": (13.04, 76, 33.0, 389, 267, 178, 180, 13.56),
    "welded_contact": (13.00, 87, 37.8, 339, 275, 184, 186, 13.55),
    "outputs_exchanged": (13.00, 87, 37.8, 339, 275, 184, 186, 13.55),
    "retarder_ground": (13.14, 75, 32.5, 339, 237, 158, 2110, 13.61),
    "chassis_ground": (11.97, 80, 34.8, 339, 253, 1282, 171, 13.58),
    "supply_cable": (11.89, 79, 34.5, 339, 1448, 168, 170, 13.59),
    "low_supply": (10.75, 72, 31.2, 339, 228, 152, 154, 11.20),
    "hot_coils": (13.32, 60, 25.9, 510, 189, 126, 127, 13.69),
}


def coil_circuit_ohm(unit: Circuit, stage: int) -> float:
    """The stage's lead to its return with the lead off the box: cables, joints and coils."""
    with np.errstate(divide="ignore"):
        group = (
            1 / (1 / (unit.coil_ohm[stage - 1].sum(axis=-1))).sum() * (234.5 + float(unit.coil_temperature_c)) / 254.5
        )
    return float(group + np.broadcast_to(unit.harness_ohm + unit.stage_joint_ohm, (4,))[stage - 1])


@pytest.mark.parametrize("cause", FAULTS)
def test_the_extra_measurements_read_as_their_cause_makes_them(cause: str) -> None:
    unit = FAULTS[cause](twelve_volt_unit())
    found = solve(unit, [True] * 4)
    output_v, contact_mv, stage_a, coil_mohm, supply_mv, chassis_mv, frame_mv, battery_v = EXTRA_MEASUREMENTS[cause]
    assert found.output_voltage_v[2] == pytest.approx(output_v, abs=0.00501)
    assert found.contact_drop_v[2] * 1000 == pytest.approx(contact_mv, abs=5.01 if contact_mv > 10_000 else 0.501)
    assert found.stage_current_a[2] == pytest.approx(stage_a, abs=0.0501)
    assert coil_circuit_ohm(unit, 3) * 1000 == pytest.approx(coil_mohm, abs=0.501)
    assert found.supply_drop_v * 1000 == pytest.approx(supply_mv, abs=0.501)
    assert found.chassis_ground_drop_v * 1000 == pytest.approx(chassis_mv, abs=0.501)
    assert found.frame_ground_drop_v * 1000 == pytest.approx(frame_mv, abs=0.501 if frame_mv < 1000 else 5.01)
    assert found.battery_voltage_v == pytest.approx(battery_v, abs=0.00501)


# Line A (box volts against total amps) and line B (n·V/I against n): EMF V, upstream, stage and shared mohm.
@pytest.mark.parametrize(
    ("unit", "emf_v", "upstream", "stage", "shared"),
    [
        (twelve_volt_unit(), 14.0, 6.04, 341.6, 1.23),
        (FAULTS["retarder_ground"](twelve_volt_unit()), 14.0, 6.04, 341.6, 16.23),
        (FAULTS["chassis_ground"](twelve_volt_unit()), 14.0, 14.04, 341.6, 1.23),
        (faults.with_supply_joint(twelve_volt_unit(), 0.008), 14.0, 14.04, 341.6, 1.23),
        (FAULTS["low_supply"](twelve_volt_unit()), 12.2, 11.04, 341.6, 1.23),
        (FAULTS["hot_coils"](twelve_volt_unit()), 14.0, 6.04, 512.0, 1.23),
        (twenty_four_volt_unit(), 28.0, 11.81, 958.4, 1.57),
    ],
)
def test_two_lines_find_the_source_the_stage_and_the_shared_ground(
    unit: Circuit, emf_v: float, upstream: float, stage: float, shared: float
) -> None:
    found = solve(unit, passes(4)[1])
    slope_a, intercept_a = np.polyfit(found.current_a, found.supply_voltage_v, 1)
    steps = np.arange(1, 5)
    slope_b, intercept_b = np.polyfit(steps, steps * found.supply_voltage_v[1:] / found.current_a[1:], 1)
    assert intercept_a == pytest.approx(emf_v, abs=0.00501)
    assert -slope_a * 1000 == pytest.approx(upstream, abs=0.00501)
    assert intercept_b * 1000 == pytest.approx(stage, abs=0.0501)
    assert slope_b * 1000 == pytest.approx(shared, abs=0.00501)


@pytest.mark.parametrize(
    ("unit", "current_a", "box_v"),
    [(twelve_volt_unit(), 690, 9.8), (twenty_four_volt_unit(), 810, 18.5)],
)
def test_a_stage_lead_shorted_dead_to_the_frame_draws_hundreds_of_amps(
    unit: Circuit, current_a: float, box_v: float
) -> None:
    found = solve(faults.with_coil_to_frame(unit, 3, 0.005), [False, False, True, False])
    assert found.current_a == pytest.approx(current_a, abs=5.01)
    assert found.supply_voltage_v == pytest.approx(box_v, abs=0.0501)


random_ohm = st.floats(1e-4, 0.05)


@st.composite
def random_units(draw: st.DrawFn) -> tuple[Circuit, list[bool]]:
    stages = draw(st.integers(1, 8))

    def per_stage(values: st.SearchStrategy[float]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.array(draw(st.lists(values, min_size=stages, max_size=stages)))

    coil_ohm = per_stage(st.floats(0.05, 3.0))[:, None, None] * np.ones(
        (stages, draw(st.integers(1, 4)), draw(st.integers(1, 4)))
    )
    open_or_not = random_ohm | st.just(float("inf"))
    unit = Circuit(
        draw(st.floats(10.0, 30.0)),
        draw(random_ohm),
        draw(random_ohm),
        draw(random_ohm),
        per_stage(open_or_not),
        per_stage(open_or_not),
        per_stage(random_ohm),
        per_stage(open_or_not),
        coil_ohm,
        draw(random_ohm),
        draw(random_ohm),
        coil_temperature_c=per_stage(st.floats(-20.0, 180.0)),
        cable_temperature_c=draw(st.floats(-20.0, 60.0)),
        welded=tuple(draw(st.lists(st.booleans(), min_size=stages, max_size=stages))),
    )
    return unit, draw(st.lists(st.booleans(), min_size=stages, max_size=stages))


def closed_form(unit: Circuit, outputs_on: list[bool]) -> tuple[float, float, list[float]]:
    """Box volts, total and stage amps from series and parallel resistances alone."""
    cable = (234.5 + float(unit.cable_temperature_c)) / 254.5
    conductance_s = []
    for k in range(unit.stages):
        coil = (234.5 + np.asarray(unit.coil_temperature_c)[k]) / 254.5
        strings, series = unit.coil_ohm.shape[1:]
        group = unit.coil_ohm[k, 0, 0] * series / strings * coil
        in_line = np.asarray(unit.fuse_ohm)[k] + np.asarray(unit.contact_ohm)[k] + np.asarray(unit.stage_joint_ohm)[k]
        closed = outputs_on[k] or bool(unit.welded and unit.welded[k])
        conductance_s.append(1 / (in_line + np.asarray(unit.harness_ohm)[k] * cable + group) if closed else 0.0)
    upstream = unit.source_ohm + unit.supply_cable_ohm * cable + unit.supply_joint_ohm + unit.chassis_ground_ohm * cable
    total_s = sum(conductance_s)
    if total_s == 0:
        return float(unit.emf_v), 0.0, [0.0] * unit.stages
    current_a = unit.emf_v / (upstream + unit.retarder_ground_ohm * cable + 1 / total_s)
    return (
        float(unit.emf_v - current_a * upstream),
        float(current_a),
        [float(current_a * g / total_s) for g in conductance_s],
    )


@given(random_units())
def test_nodal_analysis_agrees_with_series_and_parallel_resistances(case: tuple[Circuit, list[bool]]) -> None:
    unit, outputs_on = case
    found = solve(unit, outputs_on)
    box_v, current_a, stage_a = closed_form(unit, outputs_on)
    # A part that hangs free leaks up to 1e-9 S at 30 V and no more.
    leak_a = 1e-9 * 30.0 * (4 + 3 * unit.stages)
    assert found.supply_voltage_v == pytest.approx(box_v, rel=1e-9, abs=leak_a)
    assert found.current_a == pytest.approx(current_a, rel=1e-9, abs=leak_a)
    assert found.stage_current_a == pytest.approx(stage_a, rel=1e-9, abs=leak_a)


@given(random_units())
def test_currents_and_drops_obey_kirchhoff(case: tuple[Circuit, list[bool]]) -> None:
    unit, outputs_on = case
    found = solve(unit, outputs_on)
    leak_a = 1e-9 * 30.0 * (4 + 3 * unit.stages)
    assert found.stage_current_a.sum() == pytest.approx(float(found.current_a), rel=1e-9, abs=leak_a)
    assert found.string_current_a.sum(axis=-1) == pytest.approx(found.stage_current_a, rel=1e-9, abs=leak_a)
    source_drop_v = unit.source_ohm * found.current_a
    around = source_drop_v + found.supply_drop_v + found.supply_voltage_v + found.chassis_ground_drop_v
    assert float(around) == pytest.approx(float(unit.emf_v), rel=1e-9)
    through = found.contact_drop_v + found.output_voltage_v
    assert through == pytest.approx(np.full(unit.stages, found.supply_voltage_v), rel=1e-9, abs=1e-9)


def test_a_batch_of_draws_and_steps_gives_what_each_gives_alone() -> None:
    unit = twelve_volt_unit()
    emf_v, ground_ohm = np.array([12.2, 14.0, 14.4]), np.array([0.001, 0.004, 0.02])
    coil_ohm = unit.coil_ohm * np.array([0.95, 1.0, 1.1])[:, None, None, None, None]
    batch = replace(unit, emf_v=emf_v[:, None], retarder_ground_ohm=ground_ohm[:, None], coil_ohm=coil_ohm)
    found = solve(batch, passes(4)[1])
    assert found.current_a.shape == (3, 5)
    assert found.stage_current_a.shape == (3, 5, 4)
    for draw in range(3):
        alone = replace(unit, emf_v=emf_v[draw], retarder_ground_ohm=ground_ohm[draw], coil_ohm=coil_ohm[draw, 0])
        for step, outputs_on in enumerate(passes(4)[1]):
            assert found.current_a[draw, step] == pytest.approx(float(solve(alone, outputs_on).current_a), rel=1e-12)


def test_a_batch_of_source_voltages_alone_is_a_batch() -> None:
    found = solve(replace(twelve_volt_unit(), emf_v=np.array([[7.0], [14.0]])), passes(4)[1])
    assert found.current_a.shape == (2, 5)
    assert found.current_a[1] == pytest.approx(2 * found.current_a[0], rel=1e-12, abs=1e-9)


def test_a_welded_contact_is_seen_by_testing_one_stage_at_a_time() -> None:
    found = solve(faults.with_welded_contact(twelve_volt_unit(), 3), passes(4)[0])
    share = found.current_a / solve(twelve_volt_unit(), passes(4)[0]).current_a
    assert share == pytest.approx([1.96, 1.96, 1.0, 1.96], abs=0.01)


def test_exchanged_outputs_feed_the_other_stage() -> None:
    found = solve(faults.with_outputs_exchanged(twelve_volt_unit(), 3, 4), [False, False, True, False])
    assert found.stage_current_a == pytest.approx([0.0, 0.0, 0.0, 40.1], abs=0.06)


def test_doubled_leads_load_one_output_with_both_stages_and_leave_the_other_dead() -> None:
    unit = twelve_volt_unit()
    found = solve(faults.with_leads_doubled(unit, 4, 3), [[False, False, True, False], [False, False, False, True]])
    shared_ohm = 0.003 + 0.0002557 * 4 + 0.0008 + 0.0008 + 0.0015 + 0.001231 + 0.001216
    one_load_ohm = 0.00573 + 12.0 / 35.0 - IN_LINE_12_OHM
    assert found.current_a == pytest.approx([14.0 / (shared_ohm + one_load_ohm / 2), 0.0], rel=1e-6, abs=1e-6)


@pytest.mark.parametrize(("series", "strings"), [(1, 4), (2, 2), (4, 1), (4, 2)])
def test_coil_faults_change_a_stage_by_the_ratios_of_its_wiring(series: int, strings: int) -> None:
    coils = coils_for_rated_current([35.0], 12.0, in_line_ohm=0.0, coils_in_series=series, coils_in_parallel=strings)
    unit = Circuit(12.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, coils, 0.0, 0.0)

    def ratio(faulty: Circuit) -> float:
        return float(solve(faulty, [True]).current_a) / 35.0

    assert ratio(unit) == pytest.approx(1.0, abs=1e-4)
    assert ratio(faults.with_open_coil(unit, 1)) == pytest.approx((strings - 1) / strings, abs=1e-4)
    turns = ((strings - 1) + series / (series - 0.25)) / strings
    assert ratio(faults.with_shorted_turns(unit, 1, 0.25)) == pytest.approx(turns, abs=1e-4)
    if series > 1:
        coil = ((strings - 1) + series / (series - 1)) / strings
        assert ratio(faults.with_shorted_turns(unit, 1, 1.0, coil=series)) == pytest.approx(coil, abs=1e-4)
        to_frame = ratio(faults.with_coil_to_frame(unit, 1, 1e-5, coil=2))
        assert to_frame == pytest.approx(((strings - 1) + series) / strings, rel=2e-3)


def test_a_shorted_coil_of_two_by_two_raises_its_stage_by_half() -> None:
    found = solve(faults.with_shorted_turns(twelve_volt_unit(), 3, 1.0), passes(4)[1])
    assert found.current_a[3] - found.current_a[2] == pytest.approx(54.3, abs=0.1)


def test_an_open_main_supply_leaves_the_box_without_volts_and_amps() -> None:
    found = solve(faults.with_supply_joint(twelve_volt_unit(), float("inf")), passes(4)[1])
    assert found.supply_voltage_v == pytest.approx(np.zeros(5), abs=1e-6)
    assert found.current_a == pytest.approx(np.zeros(5), abs=1e-6)


def test_resistances_that_cannot_be_are_refused_by_name() -> None:
    for value in (-0.001, float("nan")):
        with pytest.raises(ValueError, match="contact_ohm must be 0"):
            solve(replace(twelve_volt_unit(), contact_ohm=np.full(4, value)), [True] * 4)
    with pytest.raises(ValueError, match="stage 5 is outside 1 to 4"):
        faults.with_blown_fuse(twelve_volt_unit(), 5)
    with pytest.raises(ValueError, match="coil 5 is outside 1 to 4"):
        faults.with_open_coil(twelve_volt_unit(), 1, coil=5)
    with pytest.raises(ValueError, match="no resistance for the coils"):
        coils_for_rated_current([35.0], 12.0, in_line_ohm=0.4, coils_in_series=2, coils_in_parallel=2)
