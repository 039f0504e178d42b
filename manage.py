#!/usr/bin/env python3
"""Where every command starts: `python3 manage.py up`, `python3 manage.py test`."""

import os
import sys

import bootstrap


def main() -> None:
    """Run the command of the command line inside the project's environment."""
    bootstrap.enter_environment(sys.argv)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    if sys.argv[1:2] == ["test"]:
        os.chdir(bootstrap.ROOT)
        bootstrap.become(sys.executable, ["-m", "pytest", *sys.argv[2:]])
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    try:
        main()
    except KeyboardInterrupt:
        bootstrap.stop("interrupted.", exit_code=130)
