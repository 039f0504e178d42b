"""Chunks that fail say why, units without a trend are found by an index, and a trend has room for its next version."""

from typing import Any

from django.db import migrations, models

# Two versions of a row and what a page needs besides fit where fewer than half of it is filled at first, so that a night
# that changes every trend touches no index.
FILLED_PERCENT = 45


def leave_room(apps: Any, schema_editor: Any) -> None:
    """Leave room on each page of the trends; SQLite knows no such thing."""
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(f"ALTER TABLE inspections_trend SET (fillfactor = {FILLED_PERCENT})")


def leave_none(apps: Any, schema_editor: Any) -> None:
    """Go back to full pages."""
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("ALTER TABLE inspections_trend RESET (fillfactor)")


class Migration(migrations.Migration):
    dependencies = [("inspections", "0003_walls")]

    operations = [
        migrations.AddField(
            model_name="trendchunk",
            name="error",
            field=models.TextField(blank=True, default=""),
        ),
        migrations.AddIndex(
            model_name="trend",
            index=models.Index(
                fields=["organisation", "installation", "method_version"], name="trend_of_unit"
            ),
        ),
        migrations.RunPython(leave_room, leave_none),
    ]
