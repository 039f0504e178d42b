"""The causes of the whole unit, of its supply and of the measurement, each as the effects by which it shows."""

from dataclasses import replace

import numpy as np

from calc.arrays import Floats
from calc.diagnosis import priors
from calc.diagnosis.effects import Effect, Switching, adding_ohm, opening, shifting, spread_over
from calc.diagnosis.slots import (
    CHASSIS_GROUND,
    CLAMP_GAIN,
    CLAMP_ZERO,
    COMMON_FUSE,
    EMF,
    LEAD_CLAMP_GAIN,
    RETARDER_GROUND,
    SOURCE,
    SUPPLY,
    TEMPERATURE,
    Slots,
)
from calc.diagnosis.unit import Unit

# Source voltage over its usual value and ln of source resistance over its usual value, each as mean and spread.
WEAK_SOURCES = (
    (0.40, (0.89, 0.035), (0.5, 0.6)),
    (0.35, (0.83, 0.045), (0.7, 0.6)),
    (0.15, (0.72, 0.06), (0.9, 0.7)),
    (0.10, (0.98, 0.03), (1.7, 0.4)),
)
# Kelvin above the stated temperature and its bound.
HEAT = ((0.4, 30.0, 12.0), (0.3, 65.0, 18.0), (0.3, 110.0, 22.0))
# Gain error of the clamp itself, and of where it sits; half is a clamp round one of two cables.
METER_GAIN = ((0.35, -0.065, 0.02), (0.15, 0.065, 0.02), (0.15, -0.13, 0.035))
PLACE_GAIN = ((0.15, -0.065, 0.02), (0.10, -0.13, 0.035), (0.10, -0.5, 0.015))
# ln of the true rated amps over those stated.
WRONG_RATINGS = (0.12, 0.05), (0.28, 0.09), (0.55, 0.15)


def unit_causes(unit: Unit) -> dict[str, list[Effect]]:
    """Return the effects of every cause of the unit, its supply, its grounds and the measurement."""
    loop_ohm = float(unit.loop_ohm.mean())
    causes = {
        "retarder_ground": _added(RETARDER_GROUND, priors.RETARDER_GROUND_RANGE, loop_ohm),
        "chassis_ground": _added(CHASSIS_GROUND, priors.SUPPLY_OHM_RANGE, loop_ohm),
        "supply_cable": _supply_cable(unit, loop_ohm),
        "supply_joint": _added(SUPPLY, priors.SUPPLY_OHM_RANGE, loop_ohm),
        "low_supply": [_weak_source(*row) for row in WEAK_SOURCES],
        "hot_coils": [shifting([TEMPERATURE], _above(unit, rise), spread, share) for share, rise, spread in HEAT],
        "clamp_zero": _clamp_zero(unit),
        "clamp_gain": _clamp_gain(),
        "wrong_rating": [_wrong_rating(unit, sign, *row) for row in WRONG_RATINGS for sign in (1, -1)],
        "main_supply_open": [opening(SUPPLY)],
        "control_ground_open": _control_ground_open(unit),
    }
    if unit.common_fuse:
        causes["blown_fuse"] = [opening(COMMON_FUSE)]
    return causes


def pair_causes(unit: Unit, first: int, second: int) -> dict[str, list[Effect]]:
    """Return the wiring errors between two stages; stages count from 0."""
    exchanged = [
        Effect(0.5, switching=Switching(exchanged_inputs=(first, second), dark_lamps=(first, second))),
        Effect(0.5, switching=Switching(exchanged_leads=(first, second))),
    ]
    doubled = [Effect(0.5, switching=Switching(moved_lead=pair)) for pair in ((first, second), (second, first))]
    return {"outputs_exchanged": exchanged, "leads_doubled": doubled}


def _control_ground_open(unit: Unit) -> list[Effect]:
    lamps = tuple(range(unit.stages))
    return [Effect(1.0, switching=Switching(none_close=True, dark_lamps=lamps))]


def _added(slot: int, shares: tuple[float, float], loop_ohm: float) -> list[Effect]:
    low, high = (share * loop_ohm for share in shares)
    pieces = spread_over(low, high, lambda mean, spread: adding_ohm(slot, mean, spread))
    return [replace(piece, share=1.0 / len(pieces)) for piece in pieces]


def _supply_cable(unit: Unit, loop_ohm: float) -> list[Effect]:
    """Return a cable too thin or too long; one whose size and length are known can only differ from them rarely."""
    if not unit.supply_cable_known:
        return _added(SUPPLY, priors.SUPPLY_OHM_RANGE, loop_ohm)
    typical_ohm = priors.USUAL_SUPPLY_SHARE * loop_ohm
    if unit.parts["supply"].ohm > typical_ohm + priors.SUPPLY_OHM_RANGE[0] * loop_ohm:
        return [Effect(1.0)]
    return [replace(effect, share=0.1 * effect.share) for effect in _added(SUPPLY, priors.SUPPLY_OHM_RANGE, loop_ohm)]


def _weak_source(share: float, emf: tuple[float, float], source: tuple[float, float]) -> Effect:
    def change(rows: Floats, severity: Floats) -> None:
        rows[:, EMF] *= severity[:, 0]
        rows[:, SOURCE] *= np.exp(severity[:, 1])

    return Effect(share, change, (emf[0], source[0]), (emf[1], source[1]))


def _above(unit: Unit, rise_c: float) -> float:
    return rise_c + unit.coil_temperature_spread_c


def _clamp_zero(unit: Unit) -> list[Effect]:
    rated_a = float(unit.rated_a.mean())
    low, high = (share * rated_a for share in priors.CLAMP_ZERO_RANGE)

    def signed(mean: float, spread: float, sign: int, share: float) -> Effect:
        def change(rows: Floats, severity: Floats) -> None:
            rows[:, CLAMP_ZERO] += sign * np.exp(severity[:, 0])

        return Effect(share, change, (mean, 0.0), (spread, 0.0))

    upward = spread_over(low, high, lambda mean, spread: signed(mean, spread, 1, 1.0))
    downward = spread_over(low, high, lambda mean, spread: signed(mean, spread, -1, 1.0))
    return [replace(piece, share=0.7 / len(upward)) for piece in upward] + [
        replace(piece, share=0.3 / len(downward)) for piece in downward
    ]


def _clamp_gain() -> list[Effect]:
    own = [shifting([CLAMP_GAIN, LEAD_CLAMP_GAIN], mean, spread, share) for share, mean, spread in METER_GAIN]
    return own + [shifting([CLAMP_GAIN], mean, spread, share) for share, mean, spread in PLACE_GAIN]


def _wrong_rating(unit: Unit, sign: int, mean: float, spread: float) -> Effect:
    coils = slice(Slots(unit.stages).coils(0), None)

    def change(rows: Floats, severity: Floats) -> None:
        rows[:, coils] *= np.exp(-severity[:, :1])

    return Effect(1.0 / (2 * len(WRONG_RATINGS)), change, (sign * mean, 0.0), (spread, 0.0))
