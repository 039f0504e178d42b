"""Finding the part: a stored check with every reading added since, ranked, and what may still be read safely."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from django.utils.translation import gettext as _

from accounts.errors import Fault, Refused
from calc.diagnosis.observations import ISOLATED_KINDS
from calc.diagnosis.offers import Spot
from calc.diagnosis.rank import Ranking, rank
from calc.diagnosis.screen import can_be_ranked
from calc.evidence import Evidence
from inspections.documents import Document
from inspections.evidence_circuit import extra_reading_of
from inspections.experience import confirmed_counts
from inspections.models import ExtraReading, Inspection, Judgement
from inspections.services.judging import stored_evidence

READING_KEYS = ("kind", "value", "stage", "coil", "energised", "over_range")


@dataclass(frozen=True, slots=True)
class PartSearch:
    """What is known so far; no ranking where the readings are none that resistances relate."""

    evidence: Evidence
    ranking: Ranking | None
    added: Sequence[ExtraReading]

    @property
    def hot_stages(self) -> tuple[int, ...]:
        """Return the stages that drew far too much: nothing live is read on them, and they are not switched on."""
        return () if self.ranking is None else self.ranking.hot_stages

    @property
    def nothing_live(self) -> bool:
        """Tell whether no stage may be switched on at all."""
        return self.ranking is not None and self.ranking.collapsed


def search_part(inspection: Inspection, judgement: Judgement, out_of_reach: Collection[Spot] = ()) -> PartSearch:
    """Return the likely causes of a check's readings and of those added, and the reading to take next.

    Confirmed causes of the organisation weigh in; what is out of reach is not asked for.
    """
    added = list(inspection.extra_readings.select_related("recorded_by").order_by("pk"))
    evidence = _with_added(inspection, judgement, added)
    ranking = None
    if can_be_ranked(evidence):
        ranking = rank(evidence, confirmed_counts(inspection.organisation), out_of_reach)
    return PartSearch(evidence, ranking, added)


def evidence_with_added(inspection: Inspection, judgement: Judgement) -> Evidence:
    """Return what a judgement was given on, with every reading added since."""
    return _with_added(inspection, judgement, list(inspection.extra_readings.order_by("pk")))


def refuse_unsafe(search: PartSearch, document: Document) -> None:
    """Raise Refused where a reading would switch on what drew far too much, or anything in a supply that collapses."""
    if document["kind"] in ISOLATED_KINDS or document["kind"] == "quiescent_current":
        return
    live = set(document.get("energised") or ()) | ({document["stage"]} if document.get("stage") else set())
    if search.nothing_live:
        raise Refused(Fault(("kind",), "unsafe", _("The supply collapses under load: only readings with power off.")))
    if hot := sorted(live & set(search.hot_stages)):
        detail = _("Stage %(stages)s drew far too much: leave it off, and read it with the power isolated only.")
        raise Refused(Fault(("energised",), "unsafe", detail % {"stages": ", ".join(map(str, hot))}))


def _with_added(inspection: Inspection, judgement: Judgement, added: Sequence[ExtraReading]) -> Evidence:
    evidence = stored_evidence(inspection, judgement)
    readings = [extra_reading_of({key: getattr(row, key) for key in READING_KEYS}) for row in added]
    return replace(evidence, extra_readings=(*evidence.extra_readings, *readings))
