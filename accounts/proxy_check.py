"""Whether the proxies in front are counted, as `manage.py check --deploy` asks."""

from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Warning


def proxies_are_counted(app_configs: object = None, **options: Any) -> Sequence[CheckMessage]:
    """Return a warning where HTTPS is asked for, which a proxy nearly always ends, and no proxy is counted."""
    if not settings.SECURE or settings.PROXIES:
        return []
    message = (
        "COILBOOK_SECURE is on and COILBOOK_PROXIES is 0: behind a proxy every client has the proxy's address, and "
        "wrong passwords lock a name for everybody."
    )
    hint = "Set COILBOOK_PROXIES to how many proxies of your own stand in front."
    return [Warning(message, hint=hint, id="accounts.W003")]
