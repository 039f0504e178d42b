"""Make the environment in `.venv` from a hashed lock and go on inside it, with the standard library alone.

An interpreter that is too old reads this file in order to say so. Nothing here may need more than Python 3.6 to be
parsed and imported, hence the quoted annotations.
"""

import contextlib
import hashlib
import importlib.util
import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO

ROOT = Path(__file__).resolve().parent
ENVIRONMENT = ROOT / ".venv"
PYTHON = ENVIRONMENT / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
STAMP = ENVIRONMENT / "coilbook-stamp.txt"
ONE_START = ROOT / "var" / "bootstrap.lock"
LOCKS = {name: ROOT / "requirements" / (name + ".txt") for name in ("base", "test")}
# The test lock holds every line of the base lock.
SATISFIED_BY_INSTALLING = {"base": ("base",), "test": ("test", "base")}

OLDEST_PYTHON = (3, 11)
NEWER_PYTHONS = ("python3.11", "python3.12", "python3.13", "python3.14")
WAIT_FOR_ANOTHER_START_S = 600.0

NO_INSTALLER = "this Python has neither ensurepip nor pip; install the system package python3-venv and start again."
DISK_FULL = "the disk is full; the environment needs about 400 MB."
UNTRUSTED = "the package index's certificate is not trusted here; name yours in SSL_CERT_FILE and PIP_CERT."
UNREACHABLE = "no package index can be reached; making the environment needs the network once."
SIGNS_OF_CAUSES = (
    (DISK_FULL, r"no space left on device|os error 28"),
    (UNTRUSTED, r"certificate.verify.failed|invalid peer certificate"),
    (UNREACHABLE, r"NewConnectionError|ConnectTimeoutError|ProxyError|max retries exceeded|read timed out"),
    (UNREACHABLE, r"failed to establish a new connection|connection refused|network is unreachable"),
    (UNREACHABLE, r"name resolution|dns error|client error \(connect\)|operation timed out"),
)


class Refusal(Exception):
    """The environment cannot be made; the text is the one line to show."""


def enter_environment(argv: "list[str]") -> None:
    """Return when this process runs in a complete `.venv`; otherwise make one and become the same command there."""
    if os.environ.get("COILBOOK_NO_BOOTSTRAP") == "1":
        return
    try:
        python = complete_environment("test" if argv[1:2] == ["test"] else "base")
    except Refusal as refusal:
        stop(str(refusal))
    except OSError as error:
        stop(cause_of(f"{error.strerror} ({error.filename})"))
    except KeyboardInterrupt:
        stop("interrupted; the next start makes the environment anew.", exit_code=130)
    if Path(sys.prefix).resolve() != ENVIRONMENT.resolve():
        become(python, [str(ROOT / "manage.py"), *argv[1:]])


def become(python: str, arguments: "list[str]") -> None:
    """Replace this process by another Python."""
    command = [python, *arguments]
    if os.name == "nt":
        # The exec of Windows returns to the prompt at once, so there a child runs and is waited for.
        sys.exit(subprocess.call(command))  # noqa: S603
    os.execv(python, command)  # noqa: S606


def complete_environment(requirements: str) -> str:
    """Return the Python to go on with: that of a complete `.venv`, or a newer one that can make it."""
    if not is_complete(requirements):
        if sys.version_info < OLDEST_PYTHON:
            return newer_python()
        with only_one_start():
            if not is_complete(requirements):
                prepare(requirements)
    return str(PYTHON)


def is_complete(requirements: str) -> bool:
    """Whether `.venv` holds what the lock of these requirements names today."""
    return stamp_line(requirements) in finished_stamp().splitlines()


def finished_stamp() -> str:
    """Return what the stamp says, or nothing where `.venv` was never finished or has lost its interpreter."""
    if PYTHON.exists() and (ENVIRONMENT / "pyvenv.cfg").exists() and STAMP.exists():
        return STAMP.read_text()
    return ""


def stamp_line(requirements: str) -> str:
    """Return what the stamp says once these requirements are installed."""
    return requirements + " " + hashlib.sha256(LOCKS[requirements].read_bytes()).hexdigest()


def prepare(requirements: str) -> None:
    """Bring `.venv` to the lock; while it changes it bears no stamp, so that an interruption is seen later."""
    say("preparing the environment in .venv; this happens once and may take a minute ...")
    started_s = time.monotonic()
    stamp = finished_stamp()
    if stamp:
        STAMP.unlink()
    else:
        make_bare_environment()
    try:
        install(LOCKS[requirements])
    except Refusal as refusal:
        # Both installers fetch everything before they touch the environment: what was complete still is.
        if stamp and str(refusal) == UNREACHABLE:
            STAMP.write_text(stamp)
        raise
    compile_packages()
    STAMP.write_text("".join(stamp_line(name) + "\n" for name in SATISFIED_BY_INSTALLING[requirements]))
    say(f"the environment is ready ({time.monotonic() - started_s:.0f} s).")


def make_bare_environment() -> None:
    """Make `.venv` without packages; whatever an interrupted start left there is removed."""
    try:
        import venv

        venv.create(str(ENVIRONMENT), clear=True, symlinks=os.name != "nt")
    except ImportError:
        raise Refusal(NO_INSTALLER) from None
    except ValueError as error:
        raise Refusal(str(error)) from None


def install(lock: Path) -> None:
    """Install a hashed lock into `.venv`, with uv where it is found and works, else with pip."""
    uv = shutil.which("uv")
    if uv is not None:
        output = failure_of([uv, "pip", "install", "-q", "--require-hashes", "--python", str(PYTHON), "-r", str(lock)])
        if not output:
            return
        say("uv did not succeed (" + last_error(output) + "); going on with pip.")
    options = ["--require-hashes", "--no-compile", "--disable-pip-version-check", "--quiet"]
    demand([*pip_command(), "install", *options, "-r", str(lock)])


def compile_packages() -> None:
    """Compile what was installed on all cores, so that each later start, also one that may write nothing, is quick."""
    # A package may ship a file for another Python, which does not compile here and is never loaded.
    failure_of([str(PYTHON), "-m", "compileall", "-q", "-j", "0", str(ENVIRONMENT)])


def pip_command() -> "list[str]":
    """Return the command of a pip that installs into `.venv`."""
    if importlib.util.find_spec("ensurepip") is not None:
        demand([str(PYTHON), "-m", "ensurepip"])
        return [str(PYTHON), "-m", "pip"]
    if importlib.util.find_spec("pip") is not None:
        return [sys.executable, "-m", "pip", "--python", str(PYTHON)]
    raise Refusal(NO_INSTALLER)


def demand(command: "list[str]") -> None:
    """Run an installer that has no substitute."""
    failure = failure_of(command)
    if failure:
        raise Refusal(cause_of(failure))


def failure_of(command: "list[str]") -> str:
    """Run an installer quietly; return nothing when it succeeds, otherwise what it said."""
    outcome = subprocess.run(  # noqa: S603
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        errors="replace",
        # A user install, where a machine's pip settings ask for one, cannot go into an environment.
        env=dict(os.environ, PIP_USER="0"),
        # The child inherits the lock: if this process is killed, the next start waits until the child has ended.
        close_fds=False,
    )
    return "" if outcome.returncode == 0 else outcome.stdout + f"\nexit code {outcome.returncode}"


def cause_of(failure: str) -> str:
    """Return the one line that says why making the environment failed."""
    for cause, signs in SIGNS_OF_CAUSES:
        if re.search(signs, failure, re.IGNORECASE):
            return cause
    return "the environment cannot be made: " + last_error(failure)


def last_error(output: str) -> str:
    """Return the last line that an installer marked as an error, or else its last line."""
    lines = [line.strip() for line in output.splitlines() if line.strip()]
    return ([line for line in lines if line.lower().startswith("error")] or lines)[-1]


def newer_python() -> str:
    """Return a Python on the search path that is new enough."""
    check = f"import sys; sys.exit(sys.version_info < {OLDEST_PYTHON})"
    for python in filter(None, map(shutil.which, NEWER_PYTHONS)):
        # A version manager may put a name on the path that leads to no interpreter, so each is tried.
        if subprocess.call([python, "-c", check], stderr=subprocess.DEVNULL) == 0:  # noqa: S603
            return python
    version = ".".join(str(part) for part in sys.version_info[:2])
    raise Refusal(f"Coilbook needs Python 3.11 or newer; this is {version} ({sys.executable}).")


@contextlib.contextmanager
def only_one_start() -> "Iterator[None]":
    """Hold the lock that two first starts at once compete for."""
    ONE_START.parent.mkdir(mode=0o700, exist_ok=True)
    with ONE_START.open("a") as lock:
        os.set_inheritable(lock.fileno(), True)
        if not try_to_hold(lock):
            say("another first start is preparing the environment; waiting for it ...")
            wait_for(lock)
        yield


def wait_for(lock: "IO[str]") -> None:
    """Return once this process alone holds the lock."""
    deadline_s = time.monotonic() + WAIT_FOR_ANOTHER_START_S
    while not try_to_hold(lock):
        if time.monotonic() > deadline_s:
            raise Refusal(f"another first start has held {ONE_START} for too long; end it first.")
        time.sleep(0.2)


def try_to_hold(lock: "IO[str]") -> bool:
    """Whether the lock could be taken at once; it is given back when the file is closed."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(lock.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


def say(text: str) -> None:
    """Tell the person at the terminal; standard output belongs to the command."""
    sys.stderr.write("manage.py: " + text + "\n")


def stop(text: str, exit_code: int = 1) -> None:
    """End the process with one line."""
    say(text)
    sys.exit(exit_code)
