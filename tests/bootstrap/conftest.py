"""A project of its own for each test of the bootstrap."""

import os
import shutil
from pathlib import Path

import pytest

from tests.bootstrap.project import REPORTING_DJANGO, REPORTING_PYTEST, REPOSITORY, Project, write_wheel


@pytest.fixture
def project(tmp_path: Path) -> Project:
    root, wheels = tmp_path / "a project", tmp_path / "wheels"
    for folder in (root / "requirements", wheels, tmp_path / "bin", tmp_path / "home"):
        folder.mkdir(parents=True)
    for name in ("manage.py", "bootstrap.py"):
        shutil.copy(REPOSITORY / name, root)
    django = {"django/__init__.py": "", "django/core/__init__.py": "", "django/core/management.py": REPORTING_DJANGO}
    base = f"--no-index\n--find-links {wheels}\n" + write_wheel(wheels, "django", django)
    (root / "requirements" / "base.txt").write_text(base)
    test = base + write_wheel(wheels, "pytest", {"pytest.py": REPORTING_PYTEST})
    (root / "requirements" / "test.txt").write_text(test)
    environment = {
        "PATH": str(tmp_path / "bin"),
        "HOME": str(tmp_path / "home"),
        "PIP_CONFIG_FILE": os.devnull,
        "PIP_NO_CACHE_DIR": "1",
        "PIP_RETRIES": "1",
    }
    return Project(folder=tmp_path, root=root, environment=environment)
