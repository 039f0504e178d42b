"""What every list page shares: search and filters in the address, pages by key, an empty state with the next step."""

from collections.abc import Sequence
from typing import Any

from django.db.models import QuerySet
from django.views.generic import TemplateView

from dashboard.access import MemberRequiredMixin
from dashboard.cursors import KeysetPage, keyset_page
from dashboard.filtering import BookFilter

PLACES = {"after", "before"}


class BookListView(MemberRequiredMixin, TemplateView):
    """A list of rows of the organisation."""

    filter_class: type[BookFilter]
    order: Sequence[str] = ("-pk",)

    def rows(self) -> QuerySet[Any]:
        """Return every row the page may show."""
        raise NotImplementedError

    def shown(self, rows: list[Any]) -> Any:
        """Return the rows of one page with what stands beside them."""
        return rows

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Narrow, page and hand over."""
        query = self.request.GET
        narrowed = self.filter_class(query, queryset=self.rows(), request=self)
        valid = narrowed.form.is_valid()
        found = narrowed.qs if valid else self.rows().none()
        page: KeysetPage[Any] = keyset_page(found, self.order, after=query.get("after"), before=query.get("before"))
        return super().get_context_data(**kwargs) | {
            "form": narrowed.form,
            "page": page,
            "rows": self.shown(page.rows),
            "narrowed": any(value for name, value in query.items() if name not in PLACES),
        }
