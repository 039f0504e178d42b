"""Copper coils: resistance against temperature, and the current at reference voltage and temperature."""

from typing import overload

from calc.arrays import AnyAmount, Floats, Quantity
from calc.errors import require_range

# 1/α at 20 °C is 254.5 K, so that R(T) goes with 234.5 + T: IEC 60028:1925, annealed copper.
COPPER_TEMPERATURE_COEFFICIENT_PER_K = 1 / 254.5
COEFFICIENT_TEMPERATURE_C = 20.0
LOWEST_COIL_TEMPERATURE_C = -60.0
HIGHEST_COIL_TEMPERATURE_C = 400.0
HIGHEST_READING = 1e6
LOWEST_USABLE_VOLTAGE_V = 1e-3


def resistance_growth(
    temperature_c: AnyAmount, temperature_coefficient_per_k: float = COPPER_TEMPERATURE_COEFFICIENT_PER_K
) -> AnyAmount:
    """Return R(T)/R(20 °C) = 1 + α20·(T − 20 °C); arguments are taken as checked.

    Parameters
    ----------
    temperature_c : float or ndarray
        Mean winding temperature, −60 to 400. [°C]
    temperature_coefficient_per_k : float
        Temperature coefficient of resistance at 20 °C. [1/K]

    References
    ----------
    IEC 60028:1925; GUM (JCGM 100:2008) 4.1.1 for the form of the model.

    Examples
    --------
    >>> round(resistance_growth(50.0, 0.00393), 4)
    1.1179
    """
    return 1.0 + temperature_coefficient_per_k * (temperature_c - COEFFICIENT_TEMPERATURE_C)


@overload
def resistance_ratio(  # type: ignore[overload-overlap]  # All scalars give a scalar; mypy cannot tell "one is an array".
    coil_temperature_c: float, *, reference_temperature_c: float = ..., temperature_coefficient_per_k: float = ...
) -> float: ...
@overload
def resistance_ratio(
    coil_temperature_c: Quantity, *, reference_temperature_c: Quantity = ..., temperature_coefficient_per_k: float = ...
) -> Floats: ...
def resistance_ratio(
    coil_temperature_c: Quantity,
    *,
    reference_temperature_c: Quantity = 20.0,
    temperature_coefficient_per_k: float = COPPER_TEMPERATURE_COEFFICIENT_PER_K,
) -> Quantity:
    """Return the resistance of a copper coil over its resistance at a reference temperature.

    Parameters
    ----------
    coil_temperature_c, reference_temperature_c : float or ndarray
        Mean winding temperature, and the one compared with, −60 to 400. [°C]
    temperature_coefficient_per_k : float
        Temperature coefficient of resistance at 20 °C. [1/K]

    Raises
    ------
    OutOfRange
        Names the temperature, its value and the permitted range.

    References
    ----------
    IEC 60028:1925, annealed copper: (234.5 + T)/(234.5 + T_ref).

    Examples
    --------
    >>> round(resistance_ratio(150.0), 3)
    1.511
    """
    require_temperature("coil_temperature_c", coil_temperature_c)
    require_temperature("reference_temperature_c", reference_temperature_c)
    hot = resistance_growth(coil_temperature_c, temperature_coefficient_per_k)
    return hot / resistance_growth(reference_temperature_c, temperature_coefficient_per_k)


@overload
def normalised_current_a(  # type: ignore[overload-overlap]  # As above.
    current_a: float,
    *,
    supply_voltage_v: float,
    coil_temperature_c: float,
    reference_voltage_v: float,
    reference_temperature_c: float = ...,
    temperature_coefficient_per_k: float = ...,
) -> float: ...
@overload
def normalised_current_a(
    current_a: Quantity,
    *,
    supply_voltage_v: Quantity,
    coil_temperature_c: Quantity,
    reference_voltage_v: Quantity,
    reference_temperature_c: Quantity = ...,
    temperature_coefficient_per_k: float = ...,
) -> Floats: ...
def normalised_current_a(
    current_a: Quantity,
    *,
    supply_voltage_v: Quantity,
    coil_temperature_c: Quantity,
    reference_voltage_v: Quantity,
    reference_temperature_c: Quantity = 20.0,
    temperature_coefficient_per_k: float = COPPER_TEMPERATURE_COEFFICIENT_PER_K,
) -> Quantity:
    """Return the current a stage would draw at reference voltage and reference coil temperature.

    Parameters
    ----------
    current_a : float or ndarray, shape (...)
        Steady current of one stage, zero offset removed. [A]
    supply_voltage_v, reference_voltage_v : float or ndarray
        Voltage at the relay box under load, and the one the rating holds at, 0.001 to 1e6. [V]
    coil_temperature_c, reference_temperature_c : float or ndarray
        Mean winding temperature, and the one the rating holds at, −60 to 400. [°C]
    temperature_coefficient_per_k : float
        Temperature coefficient of resistance at 20 °C. [1/K]

    Raises
    ------
    OutOfRange
        Names the quantity, its value and the permitted range.

    References
    ----------
    IEC 60028:1925, annealed copper: 1/α = 234.5 + T.

    Examples
    --------
    >>> round(normalised_current_a(26.286, supply_voltage_v=26.4, coil_temperature_c=85.0, reference_voltage_v=24.0), 2)
    30.0
    """
    require_range("current_a", current_a, -HIGHEST_READING, HIGHEST_READING)
    require_range("supply_voltage_v", supply_voltage_v, LOWEST_USABLE_VOLTAGE_V, HIGHEST_READING)
    require_range("reference_voltage_v", reference_voltage_v, LOWEST_USABLE_VOLTAGE_V, HIGHEST_READING)
    ratio = resistance_ratio(
        coil_temperature_c,
        reference_temperature_c=reference_temperature_c,
        temperature_coefficient_per_k=temperature_coefficient_per_k,
    )
    return current_a / supply_voltage_v * reference_voltage_v * ratio


def require_temperature(quantity: str, temperature_c: Quantity) -> None:
    """Refuse a winding temperature outside −60 to 400 °C.

    Examples
    --------
    >>> require_temperature("coil_temperature_c", 500.0)
    Traceback (most recent call last):
    calc.errors.OutOfRange: coil_temperature_c = 500 is outside the permitted range -60 to 400
    """
    require_range(quantity, temperature_c, LOWEST_COIL_TEMPERATURE_C, HIGHEST_COIL_TEMPERATURE_C)
