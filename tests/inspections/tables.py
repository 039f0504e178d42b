"""Every table as it stands."""

from typing import Any

from django.apps import apps


def every_row() -> dict[str, list[dict[str, Any]]]:
    """Return the rows of every table, by model."""
    return {
        model._meta.label: list(model._default_manager.order_by("pk").values())
        for model in apps.get_models(include_auto_created=True)
    }
