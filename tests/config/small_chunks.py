"""What a worker takes along that is to cut a night of a few units into several chunks."""

from typing import Any

from celery.signals import worker_process_init

from inspections.services import due_date_chunks, trend_chunks


def cut_small(**_signal: Any) -> None:
    """Cut small in the worker's own processes, and in no other that imports this file."""
    trend_chunks.UNITS_PER_CHUNK = due_date_chunks.UNITS_PER_CHUNK = 2


worker_process_init.connect(cut_small)
