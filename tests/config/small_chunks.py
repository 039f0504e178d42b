"""What a worker takes along that is to cut a night's list of a few units into several chunks."""

from inspections.services import trend_chunks

trend_chunks.UNITS_PER_CHUNK = 2
