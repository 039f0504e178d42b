"""Every table as it stands."""

from typing import Any

from django.apps import apps

from inspections.models import DueDateChunk


def every_row() -> dict[str, list[dict[str, Any]]]:
    """Return the rows of every table, by model."""
    return {
        model._meta.label: list(model._default_manager.order_by("pk").values())
        for model in apps.get_models(include_auto_created=True)
    }


def every_row_of_the_book() -> dict[str, list[dict[str, Any]]]:
    """Return the rows of every table but the work list that a night leaves to the next: it says who did what when."""
    rows = every_row()
    del rows[DueDateChunk._meta.label]
    return rows
