"""A start that cannot go on says why in one line and leaves nothing half-made behind."""

import ast
import json
import re
import socket
from pathlib import Path

import pytest

from bootstrap import cause_of
from tests.bootstrap.project import REPOSITORY, Project

LOCKS = REPOSITORY / "requirements"


def last_line(stderr: str) -> str:
    assert "Traceback" not in stderr
    return stderr.splitlines()[-1]


@pytest.mark.parametrize("name", ["manage.py", "bootstrap.py"])
def test_python_3_6_can_read_the_file_that_refuses_it(name: str) -> None:
    tree = ast.parse((REPOSITORY / name).read_text(), feature_version=(3, 6))
    newer = [node.lineno for node in ast.walk(tree) if isinstance(node, ast.NamedExpr | ast.Match)]
    assert newer == []


def test_bootstrap_quotes_each_annotation_that_python_3_6_cannot_evaluate() -> None:
    tree = ast.parse((REPOSITORY / "bootstrap.py").read_text())
    functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)]
    annotations = [argument.annotation for function in functions for argument in function.args.args]
    annotations += [function.returns for function in functions]
    assert len(annotations) > 20
    assert all(isinstance(annotation, ast.Name | ast.Constant) for annotation in annotations)


def test_a_python_that_is_too_old_is_named(project: Project) -> None:
    outcome = project.run_in_bootstrap("sys.version_info = (3, 9, 18); sys.executable = '/old/python3'")
    assert outcome.stderr == "manage.py: Coilbook needs Python 3.11 or newer; this is 3.9 (/old/python3).\n"
    assert outcome.returncode == 1
    assert not (project.root / ".venv").exists()


def test_a_python_without_ensurepip_and_pip_names_the_system_package(project: Project) -> None:
    outcome = project.run("up", PYTHONPATH=project.hide_modules("ensurepip", "pip"))
    assert "install the system package python3-venv" in last_line(outcome.stderr)
    assert outcome.returncode == 1


def test_a_python_without_venv_names_the_system_package(project: Project) -> None:
    outcome = project.run("up", PYTHONPATH=project.hide_modules("venv"))
    assert "install the system package python3-venv" in last_line(outcome.stderr)
    assert outcome.returncode == 1


def closed_index() -> dict[str, str]:
    """Return the address of an index at a port where nobody listens."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return {"PIP_INDEX_URL": f"http://127.0.0.1:{probe.getsockname()[1]}/simple"}


def take_local_packages_out_of(lock: Path) -> None:
    lock.write_text("".join(line for line in lock.open() if not line.startswith("--")))


def test_a_first_start_without_network_says_so(project: Project) -> None:
    take_local_packages_out_of(project.root / "requirements" / "base.txt")
    outcome = project.run("up", **closed_index())
    assert last_line(outcome.stderr) == (
        "manage.py: no package index can be reached; making the environment needs the network once."
    )
    assert outcome.returncode == 1
    assert not project.stamp.exists()


def test_a_first_test_without_network_leaves_up_as_it_was(project: Project) -> None:
    project.provide_uv()
    project.run("up")
    (project.folder / "bin" / "uv").unlink()
    take_local_packages_out_of(project.root / "requirements" / "test.txt")
    refused = project.run("test", **closed_index())
    assert "no package index can be reached" in last_line(refused.stderr)
    assert project.run("up").stderr == ""


def test_a_package_with_another_hash_is_refused_and_the_environment_stays_unfinished(project: Project) -> None:
    lock = project.root / "requirements" / "base.txt"
    lock.write_text(re.sub("sha256:[0-9a-f]{64}", "sha256:" + "0" * 64, lock.read_text()))
    outcome = project.run("up")
    assert "DO NOT MATCH THE HASHES" in last_line(outcome.stderr)
    assert outcome.returncode == 1
    assert not project.stamp.exists()


def test_a_folder_that_cannot_be_written_is_named(project: Project) -> None:
    (project.root / "var").write_text("a file where the folder should be")
    outcome = project.run("up")
    assert outcome.stderr == f"manage.py: the environment cannot be made: File exists ({project.root / 'var'})\n"
    assert outcome.returncode == 1


def test_a_write_that_fails_in_the_middle_is_one_line_and_is_made_good_later(project: Project) -> None:
    limit = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (0, resource.RLIM_INFINITY))"
    refused = project.run_in_bootstrap(limit)
    assert "File too large" in last_line(refused.stderr)
    assert refused.returncode == 1
    project.provide_uv()
    assert json.loads(project.run("up").stdout)["argv"][1:] == ["up"]


# What pip 23 and uv 0.13 printed, shortened, on a full disk, without network and behind an unknown certificate.
@pytest.mark.parametrize(
    ("output", "words"),
    [
        ("ERROR: Could not install packages due to an OSError: [Errno 28] No space left on device\n", "disk is full"),
        ("error: failed to copy file\n  Caused by: No space left on device (os error 28)\n", "disk is full"),
        (
            "WARNING: Retrying (Retry(total=0)) after connection broken by 'NewConnectionError(...)'\n"
            "ERROR: No matching distribution found for amqp==5.4.2\n",
            "no package index can be reached",
        ),
        (
            "error: Request failed after 3 retries\n  Caused by: client error (Connect)\n  Caused by: dns error\n",
            "no package index can be reached",
        ),
        ("SSLError(SSLCertVerificationError(1, '[SSL: CERTIFICATE_VERIFY_FAILED]'))\n", "certificate is not trusted"),
        ("  Caused by: invalid peer certificate: UnknownIssuer\n", "certificate is not trusted"),
        ("ERROR: first\nERROR: No matching distribution found for amqp\nsome advice\n", "No matching distribution"),
    ],
)
def test_the_one_line_names_the_cause_that_an_installer_gave(output: str, words: str) -> None:
    line = cause_of(output)
    assert words in line
    assert "\n" not in line


def pins(name: str) -> dict[str, set[str]]:
    """Return the hashes of each pinned requirement of a lock, markers included."""
    text = (LOCKS / name).read_text().replace("\\\n", " ")
    lines = [line.partition("#")[0] for line in text.splitlines() if not line.lstrip().startswith("#")]
    return {line.partition("--hash")[0].strip(): set(re.findall(r"sha256:\w+", line)) for line in lines if line.strip()}


def test_each_requirement_is_pinned_with_hashes_and_the_test_lock_holds_the_base_lock() -> None:
    base, test = pins("base.txt"), pins("test.txt")
    assert len(base) > 10
    assert all("==" in name and hashes for name, hashes in (base | test).items())
    assert base.items() <= test.items()
