"""Cable resistance against published tables.  S: seen in a public copy of the source; M: from memory, not confirmed."""

import pytest

from calc.cables import (
    CLASS_5_OHM_PER_KM,
    UnknownCableSize,
    awg_area_mm2,
    awg_diameter_mm,
    cable_resistance_ohm,
    resistance_ohm_per_m,
)

FEET_PER_KM = 1000 / 0.3048

# NBS Circular 31 and NBS Handbook 100 (S, copies of the wire tables); diameters and areas by ASTM B258 (S).
WIRE_TABLE = [
    ("4/0 AWG", -3, 0.4600, 107.2, 0.1608, 0.04901),
    ("2/0 AWG", -1, 0.3648, 67.43, 0.2557, 0.07793),
    ("4 AWG", 4, 0.2043, 21.15, 0.8152, 0.2485),
    ("6 AWG", 6, 0.1620, 13.30, 1.296, 0.3951),
    ("10 AWG", 10, 0.1019, 5.261, 3.277, 0.9989),
    ("14 AWG", 14, 0.0641, 2.081, 8.286, 2.525),
]


@pytest.mark.parametrize(("size", "gauge", "diameter_in", "area_mm2", "ohm_per_km", "ohm_per_kft"), WIRE_TABLE)
def test_a_wire_gauge_has_the_diameter_area_and_resistance_of_the_wire_tables(
    size: str, gauge: int, diameter_in: float, area_mm2: float, ohm_per_km: float, ohm_per_kft: float
) -> None:
    assert awg_diameter_mm(gauge) / 25.4 == pytest.approx(diameter_in, abs=0.00005)
    assert awg_area_mm2(gauge) == pytest.approx(area_mm2, rel=3e-4)
    assert resistance_ohm_per_m(size) * 1000 == pytest.approx(ohm_per_km, rel=2e-4)
    assert resistance_ohm_per_m(size) * 1e6 / FEET_PER_KM == pytest.approx(ohm_per_kft, rel=2e-4)


def test_each_gauge_step_has_the_ratio_of_the_definition() -> None:
    ratios = [awg_diameter_mm(gauge) / awg_diameter_mm(gauge + 1) for gauge in range(-3, 20)]
    assert ratios == pytest.approx([1.1229322] * 23, rel=1e-7), "ASTM B258, 92^(1/39) (S)"


# IEC 60228:2004 table 3, class 5, plain copper (S, four agreeing copies): ohm/km, and its excess over the nominal area.
@pytest.mark.parametrize(
    ("size", "ohm_per_km", "excess_percent"),
    [
        ("1.5 mm2", 13.3, 15.7),
        ("6 mm2", 3.30, 14.8),
        ("10 mm2", 1.91, 10.8),
        ("25 mm2", 0.780, 13.1),
        ("50 mm2", 0.386, 11.9),
        ("70 mm2", 0.272, 10.4),
    ],
)
def test_a_metric_cable_has_the_class_5_resistance_and_not_that_of_its_nominal_area(
    size: str, ohm_per_km: float, excess_percent: float
) -> None:
    assert resistance_ohm_per_m(size) * 1000 == pytest.approx(ohm_per_km, rel=1e-12)
    area_mm2 = float(size.split()[0])
    assert (ohm_per_km / (17.241 / area_mm2) - 1) * 100 == pytest.approx(excess_percent, abs=0.06)


# ISO 6722-1, largest resistance of vehicle cable, mohm/m (M).
@pytest.mark.parametrize(
    ("area_mm2", "mohm_per_m"),
    [
        (1.5, 12.7),
        (2.5, 7.60),
        (4.0, 4.71),
        (6.0, 3.14),
        (10.0, 1.82),
        (16.0, 1.16),
        (25.0, 0.743),
        (35.0, 0.527),
        (50.0, 0.368),
        (70.0, 0.259),
    ],
)
def test_the_vehicle_cable_standard_is_slightly_tighter_than_class_5(area_mm2: float, mohm_per_m: float) -> None:
    assert 0.94 < mohm_per_m / CLASS_5_OHM_PER_KM[area_mm2] < 0.97


@pytest.mark.parametrize("size", ["70 mm2", " 70mm2 ", "70 mm²", "70.0 mm2"])
def test_a_metric_size_may_be_written_in_the_usual_ways(size: str) -> None:
    assert resistance_ohm_per_m(size) == 0.272e-3


@pytest.mark.parametrize("size", ["2/0 AWG", "2/0awg", "2/0 awg "])
def test_a_gauge_may_be_written_in_the_usual_ways(size: str) -> None:
    assert resistance_ohm_per_m(size) == resistance_ohm_per_m("2/0 AWG")


@pytest.mark.parametrize(
    "size", ["", "70", "70 cm2", "71 mm2", "-70 mm2", "5/0 AWG", "0/0 AWG", "00 AWG", "21 AWG", "2/0", "thick"]
)
def test_an_unknown_size_is_refused_by_name_with_the_sizes_that_are_known(size: str) -> None:
    with pytest.raises(UnknownCableSize, match=r"unknown cable size .*70 mm2.*2/0 AWG"):
        resistance_ohm_per_m(size)


def test_a_length_multiplies_and_a_negative_one_is_refused() -> None:
    assert cable_resistance_ohm("10 mm2", 3.0) == pytest.approx(0.00573)
    for length_m in (-1.0, float("nan"), float("inf")):
        with pytest.raises(ValueError, match="length_m"):
            cable_resistance_ohm("10 mm2", length_m)
