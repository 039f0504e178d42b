"""One state of the unit: switch on, wait, read volts and amps together, switch off; and when to stop."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.functional import cached_property

from accounts.errors import Refused
from dashboard.checks.access import StepView
from dashboard.checks.documents import judging_document
from dashboard.checks.faults import show_faults
from dashboard.checks.forms import NotReadForm, ReadingForm
from dashboard.checks.numbers import typed
from dashboard.checks.readings import Look, as_expected, how_seen, look_at, stage_links, to_read_next
from dashboard.checks.slips import Slip, put_right, slip_of
from dashboard.typed import typed_text
from inspections.expectation import Expected
from inspections.services.assess import assess


class ReadingView(StepView):
    """A step about the reading that the address names by its inputs: `3` alone, or `1-2-3` together."""

    @cached_property
    def energised(self) -> list[int]:
        """Return the inputs switched on; the last is the stage that is read."""
        try:
            stages = [int(part) for part in self.kwargs["energised"].split("-")]
        except ValueError:
            raise Http404 from None
        known = len(stages) == 1 or stages == list(range(1, len(stages) + 1))
        if not known or not set(stages) <= set(self.unit.stages):
            raise Http404
        return stages

    @property
    def stage(self) -> int:
        """Return the stage that is read."""
        return self.energised[-1]

    def form_of(self, post: Any) -> ReadingForm:
        """Return the form with what was posted."""
        return ReadingForm(post, stages=self.unit.rating.stages)

    def look(self, form: ReadingForm) -> Look:
        """Return what the two numbers say beside what was expected and what was there the last time."""
        return look_at(self.unit, self.draft, self.energised, form.cleaned_data)

    def slip(self, post: Mapping[str, Any], form: ReadingForm) -> Slip | None:
        """Return what to ask about the two numbers."""
        return slip_of(post, form, self.unit.rating.system_voltage_v, self._expected_at)

    def _expected_at(self, supply_voltage_v: Decimal) -> Expected | None:
        return self.unit.expected(self.draft, self.energised, supply_voltage_v)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Show the state, what was read of it before, and the way to every other."""
        stored = self.draft["readings"].get(self.kwargs["energised"])
        initial = self._initial(stored) if stored else {}
        form = ReadingForm(initial=initial, stages=self.unit.rating.stages)
        return super().get_context_data(
            **{
                "form": form,
                "not_read_form": NotReadForm(initial={"reason": self.draft["not_read"].get(str(self.stage))}),
                "stage": self.stage,
                "energised": self.energised,
                "together": len(self.energised) > 1,
                "links": stage_links(self.unit, self.draft),
                "shows_lamps": self.unit.lamps(self.energised) is not None,
            }
            | kwargs
        )

    def _initial(self, stored: Mapping[str, Any]) -> dict[str, Any]:
        looked = {"outputs_looked_at": "outputs_live" in stored, "lamps_looked_at": "lamps_lit" in stored}
        return {**stored, **looked, "seen": how_seen(self.unit, self.energised, stored)}


class Reading(ReadingView):
    """The page of one state."""

    template_name = "dashboard/check/reading.html"

    def take(self) -> Any:
        """Keep the reading, or why there is none, or stop."""
        if "not_read" in self.request.POST:
            return self._not_read()
        if "stop" in self.request.POST:
            return self.step("stop", self.kwargs["energised"])
        post = put_right(self.request.POST)
        form = self.form_of(post)
        if not form.is_valid():
            return self.show(form=form)
        if slip := self.slip(post, form):
            return self.show(form=form, slip=slip, look=self.look(form))
        return self._kept(form) if self._accepted(form) else self.show(form=form)

    def _not_read(self) -> Any:
        form = NotReadForm(self.request.POST)
        if not form.is_valid():
            return self.show(not_read_form=form)
        readings = {key: each for key, each in self.draft["readings"].items() if each["stage"] != self.stage}
        not_read = {**self.draft["not_read"], str(self.stage): form.cleaned_data["reason"]}
        self.keep(not_read=not_read, readings=readings)
        return self._next()

    def _accepted(self, form: ReadingForm) -> bool:
        try:
            assess(self.actor, judging_document(self.draft, [self._reading(form)]))
        except Refused as refused:
            show_faults(form, refused)
            return False
        return True

    def _kept(self, form: ReadingForm) -> Any:
        not_read = {stage: why for stage, why in self.draft["not_read"].items() if stage != str(self.stage)}
        readings = {**self.draft["readings"], self.kwargs["energised"]: self._reading(form)}
        at = {} if self.draft.get("supersedes") else {"performed_at": timezone.now().isoformat()}
        self.keep(readings=readings, not_read=not_read, **at)
        if self.look(form).stop:
            return self.step("stop", self.kwargs["energised"])
        return self._next()

    def _next(self) -> Any:
        if self.draft.get("supersedes"):
            return self.step("look-over")
        following = to_read_next(self.unit, self.draft, self.energised)
        return self.step("reading", following) if following else self.step("look-over")

    def _reading(self, form: ReadingForm) -> dict[str, Any]:
        data = form.cleaned_data
        measured = {key: typed(data[key]) for key in ("supply_voltage_v", "current_a", "seconds_on")}
        return {
            "stage": self.stage,
            "energised": self.energised,
            **{key: value for key, value in measured.items() if value is not None},
            **self._seen(data),
        }

    def _seen(self, data: Mapping[str, Any]) -> dict[str, list[int]]:
        """Return what was seen; a key that is absent was not looked at, an empty list was looked at and is none."""
        if data["seen"] == "as_expected":
            return as_expected(self.unit, self.energised)
        if data["seen"] == "not_looked_at":
            return {}
        kinds = [("outputs_live", "outputs_looked_at"), ("lamps_lit", "lamps_looked_at")]
        return {kind: data[kind] for kind, looked_at in kinds if data[looked_at]}


class ReadingLook(ReadingView):
    """What is shown as soon as both fields of a state are filled; nothing is kept."""

    def take(self) -> Any:
        """Answer a piece of the page, empty until both numbers are there."""
        form = self.form_of(self.request.POST)
        form.is_valid()
        if {"supply_voltage_v", "current_a"} & set(form.errors):
            return HttpResponse()
        context = self.get_context_data(look=self.look(form), slip=self.slip(self.request.POST, form))
        return render(self.request, "dashboard/check/look.html", context)


class Stop(ReadingView):
    """The full-screen stop: stage off, engine off, then the isolator; the rest of the check is not read."""

    template_name = "dashboard/check/stop.html"

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Say why, as far as a reading says it."""
        stored = self.draft["readings"].get(self.kwargs["energised"])
        look = look_at(self.unit, self.draft, self.energised, stored) if stored else None
        return super().get_context_data(look=look, **kwargs)

    def take(self) -> Any:
        """Name the stages that are left as not read, and go to look the check over."""
        reason = typed_text(self.request.POST, "reason", longest=500)
        read = {str(each["stage"]) for each in self.draft["readings"].values()}
        left = {str(stage): reason for stage in self.unit.stages if str(stage) not in read}
        at = {"performed_at": self.draft.get("performed_at") or timezone.now().isoformat()}
        self.keep(not_read={**left, **self.draft["not_read"]}, stopped=reason, **at)
        return self.step("look-over")
