"""How far a piece of work is, how fast it goes, and how long it will still take."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Progress:
    """Done of a total, and the seconds that took; it stands still where nobody can be at work on the rest.

    Examples
    --------
    >>> Progress(done=40_000, total=100_000, seconds=2.0).left_s
    3.0
    """

    done: int
    total: int
    seconds: float
    stands_still: bool = False

    @property
    def per_second(self) -> float | None:
        """Return how many a second, None before the first is done."""
        return self.done / self.seconds if self.done and self.seconds > 0 else None

    @property
    def left_s(self) -> float | None:
        """Return the seconds that the rest will take at this rate, None before the first is done."""
        return (self.total - self.done) / self.per_second if self.per_second else None
