"""What is sent to each address of the machines' door to try its walls: a document that would do, naming rows by id.

A new address that takes a body has an entry here, under its method where that is not POST.  What names no row stands in
NAMELESS as well.
"""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

from django.core.files.uploadedfile import SimpleUploadedFile

from inspections.models import Defect, Inspection
from tests.api.documents import EXTRA_READING, assessment_document, without
from tests.api.test_photos import picture
from tests.builders import Workshop, inspection_document

Body = Callable[[Workshop], Any]

DEFECT_STEP = {
    "done": "lead cleaned",
    "reason": "dry again",
    "decision": "isolated",
    "until": "2026-12-31",
    "driver": "driver of the early turn",
}
PAIRS = [{"first": 36.3, "second": 36.1}]


def _assessment(of: Workshop, *left_out: str) -> Any:
    return without(assessment_document(installation=str(of.installation.uuid)), "rating", *left_out)


def _meters(of: Workshop) -> Any:
    return {"first": str(of.ammeter.uuid), "second": str(of.voltmeter.uuid), "readings": PAIRS}


def _inspection(of: Workshop) -> Any:
    old = Inspection.objects.of(of.organisation).order_by("pk")[0]
    defect = Defect.objects.of(of.organisation).order_by("pk")[0]
    replaced = {"supersedes": str(old.uuid), "supersede_reason": "clamp on the wrong cable"}
    return inspection_document(of, purpose="retest", retest_of=[str(defect.uuid)], **replaced)


BODIES: dict[str, Body] = {
    "assessments/": _assessment,
    "assessments/preview/": lambda of: _assessment(of, "stage_readings"),
    "calibrations/<outside_id:id>/rejudge/": lambda of: {"reason": "found reading low"},
    "check-plans/": lambda of: {"installation": str(of.installation.uuid), "months": 6},
    "check-plans/<outside_id:id>/end/": lambda of: {"reason": "sold"},
    "patch check-plans/<outside_id:id>/": lambda of: {"months": 3},
    **{
        f"defects/<outside_id:id>/{step}/": lambda of: DEFECT_STEP
        for step in ("repair", "repair-unnecessary", "release", "driver-told", "settle-verdict")
    },
    "due/<outside_id:id>/settle-verdict/": lambda of: {"reason": "read again since"},
    "due-dates/preview/": lambda of: {"plan": {"months": 6}, "as_of": "2026-11-25T00:00:00Z"},
    "inspections/": _inspection,
    "inspections/bulk/": lambda of: {"items": [_inspection(of)]},
    "inspections/<outside_id:id>/extra-readings/": lambda of: {**EXTRA_READING, "id": str(uuid4())},
    "inspections/<outside_id:id>/sign/": lambda of: {},
    "patch installations/<outside_id:id>/": lambda of: {"mounting": "behind the gearbox"},
    "installations/<outside_id:id>/identify/": lambda of: {
        "retarder_type": str(of.installation.retarder.retarder_type.uuid),
        "reason": "plate found",
    },
    "installations/not-identified/": lambda of: {
        "vehicle": str(of.installation.vehicle.uuid),
        "serial_number": "red paint",
        "stages": 4,
    },
    "meter-comparisons/": lambda of: {**_meters(of), "compared_on": "2026-03-02"},
    "meter-comparisons/preview/": _meters,
    "meters/": lambda of: {
        "kind": "ammeter",
        "designation": "new",
        "accuracy_percent": 2.0,
        "accuracy_counts": 5,
        "resolution": 0.1,
        "range_max": 400.0,
    },
    "patch meters/<outside_id:id>/": lambda of: {"designation": "renamed"},
    "meters/<outside_id:id>/calibrations/": lambda of: {"performed_on": "2026-03-02", "passed": True},
    "photos/": lambda of: {
        "id": str(uuid4()),
        "defect": str(Defect.objects.of(of.organisation)[0].uuid),
        "photo": SimpleUploadedFile("photo.jpg", picture()),
    },
    "photos/<outside_id:id>/withdraw/": lambda of: {"reason": "shows a person"},
    "rejudgings/": lambda of: {
        "id": str(uuid4()),
        "selection": {"installation": str(of.installation.uuid), "meter": str(of.ammeter.uuid)},
        "reason": "clamp found reading high",
    },
    "rejudgings/<outside_id:id>/store/": lambda of: {},
    "patch rules/": lambda of: {"temperature_bounds_c": {"parked": 4.5}},
    "retarder-types/<outside_id:id>/survey-limits/": lambda of: {
        "survey_limits": {"air_gap": {"lower_limit": 1.0, "upper_limit": 1.6}},
        "reason": "maker's instructions",
    },
    "trends/preview/": lambda of: {"rating": {"stages": 1, "rated_current_a": 35.0}, "inspections": []},
    "vehicles/": lambda of: {
        "depot": str(of.installation.vehicle.depot.uuid),
        "fleet_number": "new",
        "system_voltage_v": 12,
    },
    "patch vehicles/<outside_id:id>/": lambda of: {"depot": str(of.installation.vehicle.depot.uuid)},
}
# Nothing in the document names a row; at the other addresses the row stands in the address alone, or here.
NAMELESS = {
    "calibrations/<outside_id:id>/rejudge/",
    "check-plans/<outside_id:id>/end/",
    "patch check-plans/<outside_id:id>/",
    *(name for name in BODIES if name.startswith("defects/")),
    "due/<outside_id:id>/settle-verdict/",
    "due-dates/preview/",
    "rejudgings/<outside_id:id>/store/",
    "inspections/<outside_id:id>/extra-readings/",
    "inspections/<outside_id:id>/sign/",
    "patch installations/<outside_id:id>/",
    "meters/",
    "patch meters/<outside_id:id>/",
    "meters/<outside_id:id>/calibrations/",
    "photos/<outside_id:id>/withdraw/",
    "patch rules/",
    "retarder-types/<outside_id:id>/survey-limits/",
    "trends/preview/",
}


def entry(method: str, pattern: str) -> str:
    """Return under which name an address's document stands."""
    return pattern if method == "post" else f"{method} {pattern}"


def body_for(method: str, pattern: str) -> Body:
    """Return what makes the document that belongs to a method of an address."""
    name = entry(method, pattern)
    assert name in BODIES, f"nobody has said what to send: add {name!r} to tests/api/sealed_bodies.py"
    return BODIES[name]
