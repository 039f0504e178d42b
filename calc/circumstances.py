"""How a coil temperature came about: what each method needs to be known, all of it optional."""

from dataclasses import dataclass
from typing import Literal

Surface = Literal["winding", "bare_metal", "painted_metal"]


@dataclass(frozen=True, slots=True)
class TemperatureInputs:
    """What a method rests on; bounds are half-widths.

    `surface` and `driven_before` belong to `measured`; `hours_parked`, `moved_indoors` and `air_temperature_c` to
    `parked`; the resistances to `cold_resistance`; the rest, with the air, to `cooling_model`.  The resistances come
    from a four-wire meter with the power isolated, never from the readings that are judged.
    """

    surface: Surface | None = None
    driven_before: bool | None = None
    hours_parked: float | None = None
    moved_indoors: bool | None = None
    air_temperature_c: float | None = None
    resistance_now_ohm: float | None = None
    resistance_now_bound_ohm: float = 0.0
    resistance_cold_ohm: float | None = None
    resistance_cold_bound_ohm: float = 0.0
    cold_temperature_c: float | None = None
    cold_temperature_bound_c: float = 0.0
    start_temperature_c: float | None = None
    start_temperature_bound_c: float | None = None
    minutes_since_stop: float | None = None
    time_constant_minutes: float | None = None
