"""A small project with the real manage.py and bootstrap.py, and two tiny packages to install."""

import hashlib
import subprocess
import sys
import zipfile
from dataclasses import dataclass
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[2]
BASE_PYTHON = Path(getattr(sys, "_base_executable", sys.executable))

# Stand-ins for Django and pytest that report what they were called with.
REPORTING_DJANGO = """
import json, os, sys
def execute_from_command_line(argv):
    report = {"argv": argv, "prefix": sys.prefix, "settings": os.environ["DJANGO_SETTINGS_MODULE"]}
    print(json.dumps(report))
"""
REPORTING_PYTEST = """
import json, os, sys
print(json.dumps({"argv": sys.argv[1:], "prefix": sys.prefix, "cwd": os.getcwd()}))
sys.exit(5)
"""

# Installs the wheels as uv would, and notes each call.  It takes as long, and fails, as a test asks for.
INSTALLER = """
import os, pathlib, sys, time, zipfile
with open({log!r}, "a") as log:
    log.write(" ".join(sys.argv[1:]) + chr(10))
time.sleep(float(os.environ.get("INSTALLER_TAKES_S", "0")))
if "INSTALLER_FAILS" in os.environ:
    sys.exit("out of luck")
python = pathlib.Path(sys.argv[sys.argv.index("--python") + 1])
site_packages = next(python.parent.parent.glob("lib/python3*/site-packages"))
lock = pathlib.Path(sys.argv[sys.argv.index("-r") + 1]).read_text()
for wheel in pathlib.Path({wheels!r}).glob("*.whl"):
    if wheel.name.partition("-")[0] + "==" in lock:
        zipfile.ZipFile(wheel).extractall(site_packages)
"""


@dataclass(frozen=True)
class Project:
    """A project in a folder with a space in its name, and a search path with nothing on it."""

    folder: Path
    root: Path
    environment: dict[str, str]

    @property
    def stamp(self) -> Path:
        return self.root / ".venv" / "coilbook-stamp.txt"

    @property
    def calls(self) -> list[str]:
        """What the stand-in installer was called with."""
        log = self.folder / "installer.log"
        return log.read_text().splitlines() if log.exists() else []

    def start(self, *arguments: str, **extra: str) -> "subprocess.Popen[str]":
        """Start `manage.py` with the base interpreter from another folder, in a process group of its own."""
        return self.start_python(str(self.root / "manage.py"), *arguments, **extra)

    def start_python(self, *arguments: str, **extra: str) -> "subprocess.Popen[str]":
        return subprocess.Popen(
            [str(BASE_PYTHON), *arguments],
            cwd=self.folder,
            env={**self.environment, **extra},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )

    def run(self, *arguments: str, **extra: str) -> "subprocess.CompletedProcess[str]":
        return finished(self.start(*arguments, **extra))

    def run_in_bootstrap(self, preparation: str, **extra: str) -> "subprocess.CompletedProcess[str]":
        """Run `manage.py up` in a process where `preparation` was executed first."""
        lines = ["import sys", f"sys.path.insert(0, {str(self.root)!r})", "import bootstrap", preparation]
        return finished(
            self.start_python("-c", "\n".join([*lines, "bootstrap.enter_environment(['manage.py', 'up'])"]), **extra)
        )

    def executable(self, name: str, text: str) -> None:
        """Put a program on the search path."""
        path = self.folder / "bin" / name
        path.write_text(text)
        path.chmod(0o755)

    def installer_text(self) -> str:
        return INSTALLER.format(log=str(self.folder / "installer.log"), wheels=str(self.folder / "wheels"))

    def provide_uv(self) -> None:
        """Put a stand-in for uv on the search path: it makes a start quick, and its calls can be counted."""
        self.executable("uv", f"#!{BASE_PYTHON}\n{self.installer_text()}")

    def hide_modules(self, *names: str) -> str:
        """Return a PYTHONPATH on which these modules cannot be found."""
        folder = self.folder / "hidden"
        folder.mkdir()
        (folder / "sitecustomize.py").write_text(f"import sys\nfor name in {names}:\n    sys.modules[name] = None\n")
        return str(folder)


def finished(process: "subprocess.Popen[str]") -> "subprocess.CompletedProcess[str]":
    """Wait for a process and return what it said."""
    stdout, stderr = process.communicate(timeout=60)
    return subprocess.CompletedProcess(process.args, process.returncode, stdout, stderr)


def write_wheel(folder: Path, name: str, files: dict[str, str]) -> str:
    """Write a wheel and return the line of a hashed lock that names it."""
    information = f"{name}-1.0.dist-info"
    files = {
        **files,
        f"{information}/METADATA": f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n",
        f"{information}/WHEEL": "Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    record = "".join(f"{path},,\n" for path in [*files, f"{information}/RECORD"])
    path = folder / f"{name}-1.0-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as wheel:
        for inner_path, text in {**files, f"{information}/RECORD": record}.items():
            wheel.writestr(inner_path, text)
    return f"{name}==1.0 --hash=sha256:{hashlib.sha256(path.read_bytes()).hexdigest()}\n"
