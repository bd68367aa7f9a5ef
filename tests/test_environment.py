"""The two shell scripts of .ci, tried in a folder of their own, without network and without root.

`sh .ci/environment` meets a Debian whose python3 lacks the venv module; that Debian is played by two small
programs in front of the PATH, because the real one would have to be taken apart.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PYTHON_WITHOUT_VENV = """#!/bin/sh
if [ "$1 $2" = "-m venv" ] && [ ! -e {folder}/installed ]; then
    mkdir -p .venv/bin && touch .venv/pyvenv.cfg .venv/half-made
    echo "ensurepip is not available" >&2
    exit 1
fi
exec {python} "$@"
"""
APT_GET = """#!/bin/sh
echo "$@" >>{folder}/asked
case "$*" in *python3-venv*) touch {folder}/installed ;; esac
"""
AS_IS = '#!/bin/sh\nexec "$@"\n'


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A project with the scripts and nothing to install."""
    home = tmp_path / "project"
    (home / "tests").mkdir(parents=True)
    shutil.copytree(ROOT / ".ci", home / ".ci")
    (home / "requirements.txt").write_text("# nothing\n")
    (home / "tests/requirements.txt").write_text("# nothing\n")
    return home


def place(folder: Path, name: str, text: str) -> None:
    folder.mkdir(exist_ok=True)
    (folder / name).write_text(text.format(folder=folder, python=sys.executable))
    (folder / name).chmod(0o755)


def call(project: Path, *words: str, front: Path | None = None) -> subprocess.CompletedProcess[str]:
    path = f"{front or Path(sys.executable).parent}:{os.environ['PATH']}"
    return subprocess.run(
        ["sh", str(project / ".ci/environment"), *words],
        env={"PATH": path, "HOME": str(project)},
        capture_output=True,
        text=True,
    )


def test_makes_the_environment_once(project: Path) -> None:
    first = call(project)
    assert first.returncode == 0, first.stderr
    assert "making .venv" in first.stderr and "installing requirements.txt" in first.stderr
    assert (project / ".venv/bin/python").exists()
    assert call(project).stderr == ""
    with_tests = call(project, "tests")
    assert with_tests.returncode == 0 and "installing tests/requirements.txt" in with_tests.stderr
    assert "installing requirements.txt" not in with_tests.stderr
    (project / "requirements.txt").write_text("# changed\n")
    assert "installing requirements.txt" in call(project, "tests").stderr


def test_installs_the_venv_module_where_debian_lacks_it(project: Path, tmp_path: Path) -> None:
    front = tmp_path / "front"
    place(front, "python3", PYTHON_WITHOUT_VENV)
    place(front, "apt-get", APT_GET)
    place(front, "sudo", AS_IS)
    done = call(project, front=front)
    assert done.returncode == 0, done.stderr
    assert "installing Debian's python3-venv" in done.stderr
    assert "python3-venv" in (front / "asked").read_text()
    assert not (project / ".venv/half-made").exists()


def test_a_failed_installation_is_said_and_tried_again(project: Path) -> None:
    (project / "requirements.txt").write_text("this is not a requirement\n")
    failed = call(project)
    assert failed.returncode == 1 and "pip could not install requirements.txt" in failed.stderr
    (project / "requirements.txt").write_text("# nothing\n")
    assert call(project).returncode == 0


def test_refuses_an_unknown_word_and_a_folder_that_is_not_its_own(project: Path) -> None:
    wrong = call(project, "test")
    assert wrong.returncode == 1 and "unknown word 'test'" in wrong.stderr
    (project / ".venv").mkdir()
    (project / ".venv/letters.txt").write_text("keep me")
    other = call(project)
    assert other.returncode == 1 and "move it away" in other.stderr
    assert (project / ".venv/letters.txt").read_text() == "keep me"


@pytest.mark.parametrize(
    ("readme", "words"),
    [
        ("no line, only the word pytest outside a fence\n", "no fenced line with pytest"),
        ("```sh\npytest a\npytest b\n```\n", "more than one fenced line"),
    ],
)
def test_run_needs_exactly_one_test_line(project: Path, readme: str, words: str) -> None:
    (project / "README.md").write_text(readme)
    done = subprocess.run(["bash", str(project / ".ci/run")], capture_output=True, text=True)
    assert done.returncode == 1 and words in done.stderr
