"""Serve on this machine: one process, a few threads, and the night's work beside them."""

import os
import socket
from typing import Any

from django.core.management.base import CommandError

from config.scheduler import start_scheduler

LOOPBACK_HOSTS = {"127.0.0.1", "localhost", "::1"}
THREADS = 8


def refuse_taken_port(host: str, port: int) -> None:
    """Say in one line that the port is taken, before anything else is done."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        if os.name == "posix":
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise CommandError(f"Port {port} on {host} cannot be used: {error.strerror}. Try --port.") from None


def serve(host: str, port: int, *, with_scheduler: bool) -> None:
    """Serve until stopped."""
    from gunicorn.app.base import BaseApplication

    from config.wsgi import application

    class Server(BaseApplication):  # type: ignore[misc]
        def load_config(self) -> None:
            address = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
            options: dict[str, Any] = {
                "bind": address,
                "workers": 1,
                "threads": THREADS,
                "worker_class": "gthread",
                "loglevel": "warning",
                "control_socket_disable": True,
            }
            if with_scheduler:
                options["post_worker_init"] = lambda worker: start_scheduler()
            for name, value in options.items():
                self.cfg.set(name, value)

        def load(self) -> Any:
            return application

    Server().run()
