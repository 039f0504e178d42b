"""Addresses of the pages about the record itself, below an organisation's slug."""

from django.urls import path

from dashboard.views.exceptions import Exceptions
from dashboard.views.history import History, ObjectHistory
from dashboard.views.record_check import AnchoredHead, RecordCheck
from dashboard.views.whole_record import RecordPage

# The objects with a history of their own, by the word that stands in its address.
HISTORIES = {
    "vehicle": "vehicles",
    "installation": "fittings",
    "inspection": "checks",
    "meter": "meters",
    "defect": "defects",
    "retarder_type": "ratings",
    "member": "people",
}

urlpatterns = [
    path("history/", History.as_view(), name="history"),
    *(
        path(f"history/{word}/<uuid:{kind}>/", ObjectHistory.as_view(kind=kind), name="object-history")
        for kind, word in HISTORIES.items()
    ),
    path("exceptions/", Exceptions.as_view(), name="exceptions"),
    path("check-the-record/", RecordCheck.as_view(), name="record-check"),
    path("check-the-record/head.json", AnchoredHead.as_view(), name="anchored-head"),
    path("checks/<uuid:inspection>/record/", RecordPage.as_view(), name="record"),
]
