"""Programs: what was generated from the rig's function agrees with it, on random poses."""

from __future__ import annotations

import json
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Final

import casadi
import numpy as np

from instep.character.arrays import FloatArray
from instep.checks.model import Cure, Finding, Measure, bounded, conclude
from instep.checks.search import span, spread
from instep.checks.subject import Subject
from instep.rig.emitters.javascript import write_javascript
from instep.rig.emitters.numpy_blocks import compile_numpy
from instep.rig.program import Program
from instep.tolerances import PROGRAMS_AGREE

NAME = "programs"
CLAIM = "The programs generated from the rig give the same poses as the symbolic function that it is written in."

POSES: Final = 256

RUNNER: Final = """\
import { evaluate, outputs } from "./rig.mjs";
import fs from "node:fs";
const rows = JSON.parse(fs.readFileSync("rows.json", "utf8"));
const found = rows.map((row) => {
  const o = new Float64Array(outputs.length);
  evaluate(Float64Array.from(row), o);
  return Array.from(o, (value) => (Number.isFinite(value) ? value : null));
});
fs.writeFileSync("found.json", JSON.stringify(found));
"""


def check_programs(subject: Subject) -> Finding:
    """Evaluate each generated program and CasADi's own machine on the same rows.

    Compiled code is held against NumPy's results by itself each time that it is loaded.
    """
    rig = subject.rig
    rows = _rows(subject)
    wanted = _reference(rig.function, rows)
    frames = _reference(rig.traced.frames, rows)
    found: dict[str, tuple[FloatArray, FloatArray, Program]] = {
        "NumPy": (compile_numpy(rig.program)(rows.T), wanted, rig.program),
        "the frames of the controls": (compile_numpy(rig.control_frames)(rows.T), frames, rig.control_frames),
    }
    notes = []
    javascript = _run_javascript(rig.program, rows)
    if javascript is None:
        notes.append("JavaScript was not run: there is no Node on this computer.")
    else:
        found["JavaScript"] = (javascript, wanted, rig.program)
    measures = []
    for name, (outputs, reference, program) in found.items():
        off = _apart(subject, program.outputs, outputs, reference)
        output, row = np.unravel_index(int(off.argmax()), off.shape)
        measures.append(
            Measure(
                f"difference of {name} from the reference",
                bounded(off[output, row]),
                PROGRAMS_AGREE,
                "of leg length",
                length=subject.unit,
                pose=subject.pose(rows[row]),
            )
        )
    worst = max(measures, key=lambda measure: measure.use)
    which = worst.what.removeprefix("difference of ").removesuffix(" from the reference")
    cause = f"What was generated as {which} was not made from this rig's function, or was changed since."
    return conclude(
        NAME, CLAIM, measures, notes=notes, cause=cause, cures=[Cure("Build the rig anew from its rig file")]
    )


def _rows(subject: Subject) -> FloatArray:
    spans = span(subject, list(subject.numbers))
    if "root.scale" in spans:
        spans["root.scale"] = (max(spans["root.scale"][0], 0.5), min(spans["root.scale"][1], 2.0))
    return np.concatenate([subject.rest(), spread(subject, spans, POSES, subject.salt(NAME))])


def _reference(function: casadi.Function, rows: FloatArray) -> FloatArray:
    """(O, N) values of the symbolic function, by CasADi's own machine."""
    return np.asarray(function(casadi.DM(rows.T)).full(), dtype=np.float64)


def _apart(subject: Subject, names: tuple[str, ...], found: FloatArray, wanted: FloatArray) -> FloatArray:
    """(O, N) differences: places in leg lengths, turns as they are; a quaternion and its opposite are one turn."""
    found, wanted = np.array(found), np.array(wanted)
    places = np.array([name.rpartition(".")[2] in ("across", "up", "along") for name in names])
    firsts = [number for number, name in enumerate(names) if name.endswith(".w")]
    for first in firsts:
        quat = slice(first, first + 4)
        opposite = (found[quat] * wanted[quat]).sum(axis=0) < 0.0
        found[quat] = np.where(opposite, -found[quat], found[quat])
    off = np.abs(found - wanted) / np.where(places, subject.unit, 1.0)[:, None]
    return np.where(np.isnan(off), np.inf, off)


def _run_javascript(program: Program, rows: FloatArray) -> FloatArray | None:
    """(O, N) outputs of the emitted module, run by Node; None where there is none."""
    node = shutil.which("node")
    if node is None:
        return None
    with tempfile.TemporaryDirectory(prefix="instep-") as folder:
        place = Path(folder)
        (place / "rig.mjs").write_text(write_javascript(program), encoding="utf-8")
        (place / "run.mjs").write_text(RUNNER, encoding="utf-8")
        (place / "rows.json").write_text(json.dumps(rows.tolist()), encoding="utf-8")
        done = subprocess.run([node, "run.mjs"], cwd=place, capture_output=True, text=True, check=False)
        if done.returncode:
            # A module that does not run agrees with nothing: every figure is out of bounds.
            return np.full((len(program.outputs), len(rows)), np.nan)
        found = json.loads((place / "found.json").read_text(encoding="utf-8"))
    return np.array(found, dtype=np.float64).T
