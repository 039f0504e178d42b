"""A horizontal axis in percent of the drawing's width, so that a drawing fits any width without being stretched."""

from dataclasses import dataclass

# Dots, arrows and end labels need room beside the first and the last value.
MARGIN_PERCENT = 3.0


@dataclass(frozen=True, slots=True)
class Axis:
    """A scale from `low` to `high` over the drawing, less a margin at both ends."""

    low: float
    high: float

    def place(self, value: float) -> float:
        """Return the place of a value in percent of the width, held inside the drawing.

        >>> Axis(80, 120).place(100), Axis(80, 120).place(300)
        (50.0, 100.0)
        """
        span = 100 - 2 * MARGIN_PERCENT
        share = MARGIN_PERCENT + span * (value - self.low) / (self.high - self.low)
        return round(min(100.0, max(0.0, share)), 2)

    def holds(self, value: float) -> bool:
        """Tell whether the value is on the scale."""
        return self.low <= value <= self.high


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the axis."""

    start: float
    end: float

    @property
    def width(self) -> float:
        """Return how wide the stretch is."""
        return round(self.end - self.start, 2)


def span(axis: Axis, low: float, high: float) -> Span:
    """Return the stretch between two values."""
    return Span(axis.place(low), axis.place(high))
