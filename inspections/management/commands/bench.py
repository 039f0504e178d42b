"""Measure the project's figures."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from inspections.bench.detect import bench_detect, detect_table
from inspections.bench.diagnosis import diagnosis_bench, table
from inspections.bench.night import bench_night, night_table
from inspections.bench.post import bench_post, post_table
from inspections.bench.rejudging import bench_rejudging, rejudging_table
from inspections.bench.trend import PeerMissing, bench_trend, trend_table
from inspections.bench.verdict import bench_verdict, verdict_table

Figures = dict[str, Any]
# Each bench takes its size and returns its figures, and says them in lines.
BENCHES: dict[str, tuple[Callable[[str], Figures], Callable[[Figures], str]]] = {
    "diagnosis": (diagnosis_bench, table),
    "detect": (bench_detect, detect_table),
    "night": (bench_night, night_table),
    "post": (bench_post, post_table),
    "rejudge": (bench_rejudging, rejudging_table),
    "trend": (bench_trend, trend_table),
    "verdict": (bench_verdict, verdict_table),
}


class Command(BaseCommand):
    """`manage.py bench [NAME] [--size small|full] [--json FILE]`."""

    help = "Measure the project's figures: all of them, or the bench named."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the bench, its size and where the figures go."""
        parser.add_argument("name", nargs="?", choices=[*BENCHES], metavar="NAME", help=", ".join(BENCHES))
        sizes = "million: the night alone, with a larger fleet of 1,000,000"
        parser.add_argument("--size", choices=["small", "full", "million"], default="small", help=sizes)
        parser.add_argument("--json", metavar="FILE", type=Path, help="also write the figures to FILE")

    def handle(self, *args: Any, **options: Any) -> None:
        """Run, say the figures, and write them where asked."""
        names = [options["name"]] if options["name"] else [*BENCHES]
        if options["size"] == "million" and names != ["night"]:
            raise CommandError("--size: million is a size of the night alone")
        figures = {}
        for name in names:
            measure, lines = BENCHES[name]
            try:
                figures[name] = measure(options["size"])
            except PeerMissing as missing:
                raise CommandError(str(missing)) from None
            self.stdout.write(f"{name}, {options['size']}\n{lines(figures[name])}")
        if options["json"] is not None:
            self._write(options["json"], figures)

    def _write(self, path: Path, figures: Figures) -> None:
        try:
            path.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
        except OSError as error:
            raise CommandError(f"--json: {error}") from None
