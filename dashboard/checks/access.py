"""Who may do what on the pages about one check, and which draft or stored check a page is about."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.generic import TemplateView, View

from accounts.actors import Actor
from accounts.roles import Ability
from dashboard.access import MemberRequiredMixin
from dashboard.checks.drafts import Draft, Drafts
from dashboard.checks.units import Unit, unit_by_id
from inspections.models import Inspection
from inspections.queries import inspections_with_names


class AbilityMixin(View):
    """Lets in only members whose role reaches far enough; stands behind MemberRequiredMixin."""

    ability = Ability.CAPTURE
    actor: Actor

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Answer 403 where the role does not reach that far."""
        if not self.actor.may(self.ability):
            raise PermissionDenied
        return super().dispatch(request, *args, **kwargs)


class CaptureView(MemberRequiredMixin, AbilityMixin, TemplateView):
    """A page of members who take checks."""

    @property
    def drafts(self) -> Drafts:
        """Return the checks on the way in this session."""
        return Drafts(self.request.session, self.organisation.pk)


class StepView(CaptureView):
    """A step of a check on the way; its draft is looked for before anything else."""

    draft: Draft
    unit: Unit

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        """Show the step."""
        return self._find(kwargs["draft"]) or self.show()

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        """Take what was entered."""
        return self._find(kwargs["draft"]) or self.take()

    def show(self, **context: Any) -> Any:
        """Show the step, with what was typed and what is wrong with it."""
        return self.render_to_response(self.get_context_data(**context))

    def take(self) -> Any:
        """Take what was entered; a step that takes nothing shows itself again."""
        return self.show()

    def keep(self, **changes: Any) -> None:
        """Keep what this step found out."""
        self.draft = {**self.draft, **changes}
        self.drafts.keep(self.draft)

    def step(self, name: str, *args: Any) -> HttpResponseBase:
        """Go to another step of the same check."""
        return redirect(f"dashboard:check-{name}", self.organisation.slug, self.draft["id"], *args)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Give every step its unit and draft."""
        return super().get_context_data(**kwargs) | {"unit": self.unit, "draft": self.draft}

    def _find(self, draft_id: UUID) -> HttpResponseBase | None:
        """Set `draft` and `unit`, or answer where the check went."""
        draft = self.drafts.find(draft_id)
        if draft is None:
            return self._gone(draft_id)
        unit = unit_by_id(self.organisation, draft["installation"])
        if unit is None:
            raise Http404
        self.draft, self.unit = draft, unit
        return None

    def _gone(self, draft_id: UUID) -> HttpResponseBase:
        slug = self.organisation.slug
        if Inspection.objects.of(self.organisation).filter(uuid=draft_id).exists():
            return redirect("dashboard:result", slug, draft_id)
        messages.info(self.request, _("That check is no longer on this phone. Nothing of it is in the book."))
        return redirect("dashboard:check", slug)


class StoredCheckMixin(MemberRequiredMixin):
    """A page about a stored check."""

    def stored_check(self, inspection_id: UUID) -> Inspection:
        """Return the check; one of another organisation does not exist here."""
        rows = inspections_with_names(self.organisation).select_related(
            "installation__vehicle__depot", "installation__retarder__retarder_type", "ammeter", "voltmeter"
        )
        check = rows.filter(uuid=inspection_id).first()
        if check is None:
            raise Http404
        return check
