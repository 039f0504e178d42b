"""Judging: evidence in, judgements out."""

from collections.abc import Mapping, Sequence

from calc.batch import judged_together
from calc.diagnosis.screen import Rank
from calc.evidence import Evidence
from calc.judgement import Judgement


def judge(evidence: Evidence, *, rank: Rank = "always", confirmed_counts: Mapping[str, int] | None = None) -> Judgement:
    """Return the judgement of one visit: a batch of one.

    Parameters
    ----------
    evidence : Evidence
        Readings, rating and meters; volts 0 to 1e6, amps from the ammeter's zero to 1e6, coil −60 to 400 °C.
    rank : {"always", "when_unfit", "never"}
        Whether the likely causes are ranked in full, only where the sound circuit does not fit, or merely screened.
    confirmed_counts : mapping, optional
        How often repairs have confirmed each cause; they move the likely causes only, never a verdict.

    Raises
    ------
    OutOfRange
        Names the quantity, its value and the permitted range.

    References
    ----------
    GUM (JCGM 100:2008); JCGM 106:2012; ILAC-G8:09/2019; IEC 60028:1925.

    Examples
    --------
    >>> from calc.evidence import Meter, Rating, StageReading
    >>> rating = Rating((35.0,) * 4, 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)
    >>> reading = StageReading(stage=1, energised=(1,), supply_voltage_v=13.76, current_a=40.1)
    >>> judged = judge(Evidence(rating, Meter(2.0, 5, 0.1), Meter(0.5, 2, 0.01), 20.0, 5.0, (reading,))).stages[0]
    >>> judged.verdict, round(judged.normalised_current_a, 2), round(judged.expanded_uncertainty_a, 2)
    ('pass', 34.97, 1.55)
    """
    return judge_batch([evidence], rank=rank, confirmed_counts=confirmed_counts)[0]


def judge_batch(
    evidences: Sequence[Evidence], *, rank: Rank = "never", confirmed_counts: Mapping[str, int] | None = None
) -> list[Judgement]:
    """Return the judgement of every visit, in the order given; `rank` as for one, but merely screened unless asked.

    Raises
    ------
    OutOfRange
        Names the quantity, its value and the permitted range; one bad visit refuses the batch.
    """
    every_visit = slice(0, len(evidences))
    return judged_together(evidences).answers(every_visit, rank=rank, confirmed_counts=confirmed_counts)
