"""The wiring: settings, addresses, the worker's and the web server's entries."""

from config.celery import app as celery_app

__all__ = ["celery_app"]
