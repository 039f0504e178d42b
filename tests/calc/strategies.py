"""Random evidence for property tests: any finite reading that the service accepts, plausible or not."""

from hypothesis import strategies as st

from calc.evidence import Evidence, Meter, MeterRange, Rating, RelayBox, RestReading, StageReading
from calc.evidence_apart import AuxiliaryLoad

amounts = st.one_of(st.floats(0, 1e6), st.floats(0, 60), st.sampled_from([0.0, 5e-324, 1e-3, 12.0, 14.0, 1e6]))
tolerances = st.one_of(st.none(), st.floats(0, 30))
bounds = st.one_of(st.floats(0, 40), st.floats(0, 1e6))


@st.composite
def meter_ranges(draw: st.DrawFn) -> tuple[MeterRange, ...]:
    ends = sorted(draw(st.sets(st.floats(1, 1e6), max_size=3)))
    return tuple(MeterRange(end, draw(st.floats(0, 10)), draw(st.integers(0, 20)), 0.1) for end in ends)


@st.composite
def auxiliary_loads(draw: st.DrawFn) -> tuple[AuxiliaryLoad, ...]:
    when = st.sampled_from(["always", "stage_on"])
    bound_a = st.one_of(st.none(), st.floats(0, 1e3))
    load = st.builds(AuxiliaryLoad, st.just("load"), st.floats(0, 1e3), bound_a, when)
    return tuple(draw(st.lists(load, max_size=2)))


@st.composite
def meters(draw: st.DrawFn, resolution: float) -> Meter:
    return Meter(
        accuracy_percent=draw(st.floats(0, 10)),
        accuracy_counts=draw(st.integers(0, 20)),
        resolution=resolution,
        range_max=draw(st.one_of(st.none(), st.floats(1, 1e6))),
        ranges=draw(st.one_of(st.just(()), meter_ranges())),
    )


@st.composite
def ratings(draw: st.DrawFn) -> Rating:
    return Rating(
        rated_currents_a=tuple(draw(st.lists(st.floats(1, 100), min_size=1, max_size=8))),
        reference_voltage_v=draw(st.one_of(st.none(), st.floats(5, 50))),
        reference_temperature_c=draw(st.floats(-20, 150)),
        tolerance_lower_percent=draw(tolerances),
        tolerance_upper_percent=draw(tolerances),
        system_voltage_v=24.0,
        coils_in_series=4,
        coils_in_parallel=1,
        reference_temperature_assumed=draw(st.booleans()),
    )


@st.composite
def stage_readings(draw: st.DrawFn, stages: int) -> StageReading:
    stage = draw(st.integers(1, stages))
    others = draw(st.one_of(st.just(set()), st.sets(st.integers(1, stages))))
    seen = st.one_of(st.none(), st.lists(st.integers(1, stages), max_size=stages).map(tuple))
    return StageReading(
        stage=stage,
        energised=tuple(sorted({stage} | others)),
        supply_voltage_v=draw(amounts),
        current_a=draw(amounts),
        seconds_on=draw(st.one_of(st.none(), st.floats(0, 1e6))),
        outputs_live=draw(seen),
        lamps_lit=draw(seen),
    )


@st.composite
def evidences(draw: st.DrawFn) -> Evidence:
    rating = draw(ratings())
    return Evidence(
        rating=rating,
        ammeter=draw(meters(0.1)),
        voltmeter=draw(meters(0.01)),
        coil_temperature_c=draw(st.one_of(st.none(), st.floats(-60, 400))),
        coil_temperature_bound_c=draw(st.one_of(st.none(), bounds)),
        stage_readings=tuple(draw(st.lists(stage_readings(rating.stages), max_size=12))),
        coil_temperature_method=draw(st.sampled_from([None, "measured", "parked", "cooling_model", "unknown"])),
        rest=draw(st.one_of(st.none(), st.builds(RestReading, amounts, st.floats(-50, 1e6)))),
        relay_box=RelayBox(
            drive=draw(st.sampled_from(["relay", "electronic"])),
            lamps=draw(st.integers(0, 8)),
            auxiliary_loads=draw(auxiliary_loads()),
        ),
        decision_rule=draw(st.sampled_from(["guarded", "simple", "max_false_accept"])),
        max_false_accept_probability=draw(st.floats(1e-9, 0.5)),
    )
