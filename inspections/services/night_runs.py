"""One window of the night's work, claimed, done and written down."""

import dataclasses
import datetime as dt

from accounts.work import claim_work, fail_work, finish_work
from inspections.services.night import HandOutOfPart, NightReport, run_night

JOB = "night"


def run_night_once(*, as_of: dt.datetime, hand_out: HandOutOfPart | None = None) -> NightReport | None:
    """Do the night's work of the hour an instant falls in; None where another runner has done or is doing it."""
    run = claim_work(JOB, as_of.astimezone(dt.UTC).strftime("%Y-%m-%dT%H"))
    if run is None:
        return None
    try:
        report = run_night(as_of=as_of, hand_out=hand_out)
    except Exception as error:
        fail_work(run, f"{type(error).__name__}: {error}")
        raise
    finish_work(run, dataclasses.asdict(report))
    return report
