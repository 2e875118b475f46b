"""scripts/setup with a Python that only pretends: what it makes, skips, mends and says. No network."""

from __future__ import annotations

import os
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import pytest

TOOLS = ("sh", "dirname", "cat", "grep", "sed", "rm", "mv", "cp", "mkdir", "chmod")

# Writes down what it is asked to install; makes an environment whose Python is a copy of itself.
PRETEND = """#!/bin/sh
case "$*" in
    --version) echo "Python @version@.0" ;;
    *'sys.version_info < (3, 11)'*) exit @too_old@ ;;
    *'%d.%d'*) echo "@version@" ;;
    *ensurepip*) exit @without_venv@ ;;
    '-m venv --clear '*)
        rm -rf "$4" && mkdir -p "$4/bin" && cp "$0" "$4/bin/python"
        echo "version = @version@.0" >"$4/pyvenv.cfg"
        echo venv >>"@log@" ;;
    '-m pip --version') ;;
    '-m pip install '*)
        for last; do :; done
        echo "pip $last" >>"@log@"
        [ ! -e "@log@.broken" ] || exit 1 ;;
esac
"""


@dataclass
class Copy:
    """A copy of the project's setup, and the only commands that it can see."""

    root: Path
    commands: Path
    log: Path

    def python(self, name: str, version: str, *, too_old: bool = False, without_venv: bool = False) -> Path:
        marks = {"version": version, "too_old": int(too_old), "without_venv": int(without_venv), "log": self.log}
        text = PRETEND
        for mark, value in marks.items():
            text = text.replace(f"@{mark}@", str(value))
        path = self.commands / name
        path.write_text(text)
        path.chmod(0o755)
        return path

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [self.root / "scripts/setup", *arguments],
            env={"PATH": str(self.commands)},
            cwd=self.commands,
            capture_output=True,
            text=True,
            check=False,
        )

    def done(self) -> list[str]:
        """What has been made and installed since the last question."""
        lines = self.log.read_text().splitlines() if self.log.exists() else []
        self.log.unlink(missing_ok=True)
        return lines


@pytest.fixture
def copy(tmp_path: Path, project: Path) -> Copy:
    root = tmp_path / "a folder"
    (root / "scripts").mkdir(parents=True)
    shutil.copy(project / "scripts/setup", root / "scripts/setup")
    (root / "pyproject.toml").write_text("[project]\n")
    commands = tmp_path / "commands"
    commands.mkdir()
    for tool in TOOLS:
        found = shutil.which(tool)
        assert found is not None, tool
        (commands / tool).symlink_to(found)
    return Copy(root, commands, tmp_path / "log")


def test_makes_everything_once(copy: Copy) -> None:
    copy.python("python3", "3.11")
    first = copy.run()
    assert first.returncode == 0
    assert first.stderr == (
        "Making .venv with Python 3.11.0.\n"
        "Installing Instep and what it needs (dev). The first time this takes a minute or two.\n"
    )
    assert copy.done() == ["venv", "pip .[dev]"]
    second = copy.run()
    assert (second.returncode, second.stdout, second.stderr) == (0, "", "")
    assert copy.done() == []


def test_the_demo_asks_for_less_and_development_covers_it(copy: Copy) -> None:
    copy.python("python3", "3.11")
    assert copy.run("demo").returncode == 0
    assert copy.done() == ["venv", "pip .[demo]"]
    assert copy.run("demo").returncode == 0
    assert copy.done() == []
    assert copy.run("dev").returncode == 0
    assert copy.done() == ["pip .[dev]"]
    assert copy.run("demo").returncode == 0
    assert copy.done() == []


def test_a_changed_project_file_is_installed_again(copy: Copy) -> None:
    copy.python("python3", "3.11")
    copy.run()
    copy.done()
    (copy.root / "pyproject.toml").write_text('[project]\ndependencies = ["more"]\n')
    assert copy.run().returncode == 0
    assert copy.done() == ["pip .[dev]"]


def test_a_failed_installation_is_told_and_done_again(copy: Copy) -> None:
    copy.python("python3", "3.11")
    broken = Path(f"{copy.log}.broken")
    broken.touch()
    first = copy.run()
    assert first.returncode == 1
    assert first.stderr == (
        "Making .venv with Python 3.11.0.\n"
        "Installing Instep and what it needs (dev). The first time this takes a minute or two.\n"
        "The packages could not be installed; what pip says is above.\n"
        "Check the network, then run this script again: it goes on from where it stopped.\n"
    )
    copy.done()
    broken.unlink()
    assert copy.run().returncode == 0
    assert copy.done() == ["pip .[dev]"]


def test_an_environment_whose_python_is_gone_is_made_anew(copy: Copy) -> None:
    copy.python("python3", "3.11")
    copy.run()
    copy.done()
    python = copy.root / ".venv/bin/python"
    python.unlink()
    python.symlink_to(copy.root / "no such python")
    assert copy.run().returncode == 0
    assert copy.done() == ["venv", "pip .[dev]"]


def test_a_moved_folder_is_made_anew(copy: Copy) -> None:
    copy.python("python3", "3.11")
    copy.run()
    copy.done()
    copy.root = copy.root.rename(copy.root.with_name("elsewhere"))
    assert copy.run().returncode == 0
    assert copy.done() == ["venv", "pip .[dev]"]
    assert copy.run().returncode == 0
    assert copy.done() == []


def test_the_newest_python_that_works_is_taken(copy: Copy) -> None:
    copy.python("python3", "3.11")
    copy.python("python3.12", "3.12")
    copy.python("python3.13", "3.13", without_venv=True)
    assert copy.run().stderr.startswith("Making .venv with Python 3.12.0.\n")


def test_without_a_python_it_says_what_it_looked_for(copy: Copy) -> None:
    copy.python("python3", "3.9", too_old=True)
    result = copy.run()
    assert result.returncode == 1
    assert result.stderr == (
        "No Python 3.11 or newer found; looked for python3.13, python3.12, python3.11 and python3.\n"
        "Install one of them, see that it is on the PATH, and run this script again.\n"
    )
    assert not (copy.root / ".venv").exists()


def test_without_the_means_to_make_an_environment_it_says_what_to_install(copy: Copy) -> None:
    path = copy.python("python3", "3.11", without_venv=True)
    result = copy.run()
    assert result.returncode == 1
    assert result.stderr == (
        f"{path} cannot make a virtual environment: its modules venv and ensurepip are missing.\n"
        "On Debian or Ubuntu: apt-get install python3.11-venv. Then run this script again.\n"
    )
    assert not (copy.root / ".venv").exists()


def test_an_unknown_wish_is_refused(copy: Copy) -> None:
    result = copy.run("everything")
    assert result.returncode == 2
    assert result.stderr == "scripts/setup: unknown wish 'everything'; expected dev or demo.\n"


def test_the_scripts_are_correct_shell(project: Path) -> None:
    for path in [*(project / "scripts").iterdir(), project / ".ci/run"]:
        shell = path.read_text(encoding="utf-8").splitlines()[0].split("/")[-1].split(" ")[-1]
        result = subprocess.run([shell, "-n", path], capture_output=True, text=True, check=False, env=dict(os.environ))
        assert (result.returncode, result.stderr) == (0, ""), path.name
