"""Runtime code: a rig as files that a team drops into its own program."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Final, Literal

import casadi

from instep.delivery.runtime_vectors import Vectors, write_vectors
from instep.errors import OutputError
from instep.formats.whole import write_whole
from instep.rig import Rig
from instep.rig.emitters.c99 import LANES
from instep.rig.emitters.c_files import write_c_header, write_c_source
from instep.rig.emitters.identifiers import constants, identifier
from instep.rig.emitters.javascript import write_declarations, write_javascript_module
from instep.rig.emitters.runtime_form import RuntimeForm
from instep.rig.emitters.wgsl import write_wgsl
from instep.rig.joints import joint_function
from instep.rig.program import Op
from instep.rig.program.derivatives import differentiate

Language = Literal["c", "js", "wgsl"]


def runtime_form(rig: Rig, name: str, *, derivatives: bool = False) -> RuntimeForm:
    """The rig, ready to be written in any language; `name` becomes the prefix of all names in the code."""
    program = rig.joints_program
    slopes, places = None, tuple[tuple[int, int], ...]()
    if derivatives:
        function, outputs = joint_function(rig.traced, rig.plan, rig.character.skeleton)
        slopes = differentiate(function, program.inputs, outputs)
        places = _places(function, len(program.inputs))
    skeleton = rig.character.skeleton
    return RuntimeForm(
        identifier(name).lower(),
        rig.description.character,
        program,
        rig.channels,
        tuple(skeleton.names),
        tuple(int(parent) for parent in skeleton.parents),
        tuple((float(x), float(y), float(z)) for x, y, z in skeleton.positions),
        rig.plan.unit,
        slopes,
        places,
    )


def _places(function: casadi.Function, inputs: int) -> tuple[tuple[int, int], ...]:
    """(output, channel) of each derivative that `differentiate` keeps, in its order."""
    x = casadi.SX.sym("x", inputs)
    rows, columns = casadi.jacobian(function(x), x).sparsity().get_triplet()
    return tuple((int(row), int(column)) for row, column in zip(rows, columns, strict=True))


def runtime_files(form: RuntimeForm, language: Language, vectors: Vectors | None = None) -> dict[str, str]:
    """The text of each file, by its name: code, example and README; with `vectors` also these and a runner."""
    found = _WRITERS[language](form)
    for template, target in _TEMPLATES[language]:
        if vectors is not None or not template.startswith("check"):
            found[target.format(name=form.name)] = _filled(template, form, language, vectors is not None)
    if vectors is not None:
        found[f"{form.name}_vectors.txt"] = write_vectors(vectors)
    return found


def write_runtime(form: RuntimeForm, language: Language, folder: Path, vectors: Vectors | None = None) -> list[Path]:
    """Write the files of `runtime_files` into a folder (made if missing), each whole or not at all; their paths.

    Raises OutputError where the folder cannot be made or a file cannot be written.
    """
    texts = runtime_files(form, language, vectors)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"this folder cannot be made ({error.strerror})",
            where=str(folder),
            expected="a place that may be written to",
            cure="Choose another place with -o",
        ) from error
    written = []
    for name, text in texts.items():
        write_whole(folder / name, text.encode())
        written.append(folder / name)
    return written


def _c_files(form: RuntimeForm) -> dict[str, str]:
    return {f"{form.name}_rig.h": write_c_header(form), f"{form.name}_rig.c": write_c_source(form)}


def _javascript_files(form: RuntimeForm) -> dict[str, str]:
    # .mjs and .d.mts: a module wherever it is put, without a package file that says so.
    return {f"{form.name}_rig.mjs": write_javascript_module(form), f"{form.name}_rig.d.mts": write_declarations(form)}


def _wgsl_files(form: RuntimeForm) -> dict[str, str]:
    return {f"{form.name}_rig.wgsl": write_wgsl(form)}


_WRITERS: Final[Mapping[Language, Callable[[RuntimeForm], dict[str, str]]]] = {
    "c": _c_files,
    "js": _javascript_files,
    "wgsl": _wgsl_files,
}

_TEMPLATES: Final[Mapping[Language, tuple[tuple[str, str], ...]]] = {
    "c": (("readme_c.md", "README_c.md"), ("example.c", "{name}_example.c"), ("check.c", "{name}_check.c")),
    "js": (("readme_js.md", "README_js.md"), ("example.mjs", "{name}_example.mjs"), ("check.mjs", "{name}_check.mjs")),
    "wgsl": (("readme_wgsl.md", "README_wgsl.md"), ("check.py.txt", "{name}_check.py")),
}
"""By language, templates and the names of the files made of them. Those that check need the vectors."""

_PROOF: Final[Mapping[Language, str]] = {
    "c": "Proof of a build: `cc {name}_check.c {name}_rig.c -lm && ./a.out {name}_vectors.txt`.",
    "js": "Proof: `node {name}_check.mjs {name}_vectors.txt`.",
    "wgsl": "Proof, with Python's wgpu and numpy: `python {name}_check.py {name}_rig.wgsl {name}_vectors.txt`.",
}


def _filled(template: str, form: RuntimeForm, language: Language, proven: bool) -> str:
    """A template with the rig's names in place of ``@word@``."""
    text = files("instep.delivery").joinpath("runtime_templates", template).read_text(encoding="utf-8")
    number, value = _example_setting(form)
    count = form.program.count()
    words = {
        "name": form.name,
        "NAME": form.name.upper(),
        "character": " ".join(form.character.split()),
        "lanes": f"{LANES['double']} (in single precision {LANES['single']})",
        "channel_count": str(len(form.channels)),
        "joint_count": str(len(form.joints)),
        "output_count": str(len(form.program.outputs)),
        "count": f"{sum(count.values()) - count.get(Op.INPUT, 0) - count.get(Op.CONSTANT, 0):,}",
        "leg_length": repr(form.leg_length),
        "example": form.channels[number].name,
        "EXAMPLE": constants("", (channel.name for channel in form.channels))[number].removeprefix("_"),
        "example_value": repr(value),
        "proof": _PROOF[language].format(name=form.name)
        if proven
        else "No test vectors came along: --with-vectors adds them.",
    }
    return re.sub(r"@(\w+)@", lambda match: words[match.group(1)], text)


def _example_setting(form: RuntimeForm) -> tuple[int, float]:
    """A channel for the example, and a value that shows: a foot's roll where there is one."""
    rolls = [number for number, channel in enumerate(form.channels) if channel.name.endswith(".foot.roll")]
    number = rolls[0] if rolls else 0
    channel = form.channels[number]
    return number, round(channel.default + 0.4 * (channel.high - channel.default), 3)
