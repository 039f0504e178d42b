"""What the organisation's own repairs have taught: how often each cause was confirmed."""

from collections.abc import Iterator, Mapping
from functools import cached_property

from django.db.models import Count

from accounts.models import Organisation
from inspections.models import Defect


def confirmed_counts(organisation: Organisation) -> dict[str, int]:
    """Return how often each cause stands confirmed by a repair; a retest that fails takes its cause back."""
    confirmed = Defect.objects.of(organisation).exclude(confirmed_cause="").order_by()
    return dict(confirmed.values("confirmed_cause").annotate(count=Count("pk")).values_list("confirmed_cause", "count"))


class ConfirmedCounts(Mapping[str, int]):
    """The same, asked for only where somebody looks: most visits are sound, and nothing is ranked for them."""

    def __init__(self, organisation: Organisation) -> None:
        """Take whose repairs they are."""
        self.organisation = organisation

    @cached_property
    def _counts(self) -> dict[str, int]:
        return confirmed_counts(self.organisation)

    def __getitem__(self, cause: str) -> int:
        """Return how often a cause was confirmed."""
        return self._counts[cause]

    def __iter__(self) -> Iterator[str]:
        """Go through the causes that were confirmed."""
        return iter(self._counts)

    def __len__(self) -> int:
        """Return how many causes were confirmed."""
        return len(self._counts)
