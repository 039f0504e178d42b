"""The bench: formulas that judge readings.  Plain numbers in, plain numbers out; no framework, no input or output."""

from calc.method import METHOD_VERSION

__all__ = ["METHOD_VERSION"]
