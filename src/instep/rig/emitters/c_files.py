"""C99: a rig as one header and one source."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from instep.rig.emitters.c99 import write_c_body, write_c_number_type, write_c_prelude
from instep.rig.emitters.identifiers import constants, text_literal
from instep.rig.emitters.runtime_form import PER_JOINT, RuntimeForm
from instep.rig.program import Program
from instep.rig.program.schedule import schedule


def write_c_header(form: RuntimeForm) -> str:
    """The header: number type, sizes, numbers of channels and joints, tables, functions."""
    p, P = form.name, form.name.upper()
    channels = constants(f"{p}_channel", (channel.name for channel in form.channels))
    joints = constants(f"{p}_joint", form.joints)
    derivatives = _derivative_declarations(form) if form.derivatives else ""
    return (
        _HEADER.format(
            p=p,
            P=P,
            character=_comment(form.character),
            number_type=write_c_number_type(p),
            channels=len(form.channels),
            joints=len(form.joints),
            per_joint=PER_JOINT,
            outputs=len(form.program.outputs),
            channel_numbers=_numbered(channels),
            joint_numbers=_numbered(joints),
        )
        + derivatives
        + _HEADER_END.format(P=P)
    )


def write_c_source(form: RuntimeForm) -> str:
    """The source: no dependency beyond <math.h>, no allocation, no state."""
    p, P = form.name, form.name.upper()
    tables = [
        _table(f"const char *const {p}_channel_names[{P}_CHANNELS]", (text_literal(c.name) for c in form.channels)),
        _table(f"const {p}_real {p}_channel_defaults[{P}_CHANNELS]", (_real(P, c.default) for c in form.channels)),
        _table(f"const {p}_real {p}_channel_lows[{P}_CHANNELS]", (_real(P, c.low) for c in form.channels)),
        _table(f"const {p}_real {p}_channel_highs[{P}_CHANNELS]", (_real(P, c.high) for c in form.channels)),
        _table(f"const char *const {p}_joint_names[{P}_JOINTS]", (text_literal(name) for name in form.joints)),
        _table(f"const int {p}_joint_parents[{P}_JOINTS]", (str(parent) for parent in form.parents)),
        _table(
            f"const {p}_real {p}_joint_bind[{P}_JOINTS][3]",
            ("{" + ", ".join(_real(P, each) for each in row) + "}" for row in form.bind),
        ),
        f"const {p}_real {p}_leg_length = {_real(P, form.leg_length)};\n",
    ]
    functions = [
        write_c_functions(form.program, p, "pose", "poses", f"{P}_OUTPUTS"),
    ]
    if form.derivatives:
        places = form.derivative_places
        tables += [
            _table(f"const int {p}_derivative_outputs[{P}_DERIVATIVES]", (str(row) for row, _ in places)),
            _table(f"const int {p}_derivative_channels[{P}_DERIVATIVES]", (str(column) for _, column in places)),
        ]
        functions += [
            write_c_functions(form.derivatives, p, "derivative", "derivatives", f"{P}_DERIVATIVES"),
        ]
    head = _SOURCE.format(p=p, character=_comment(form.character), prelude=write_c_prelude(p))
    return "\n".join([head, *tables, *functions])


def write_c_functions(program: Program, p: str, one: str, many: str, rows: str) -> str:
    """A program with its three entries: one pose, a tile of them, any number. `rows` is how many outputs it has."""
    P = p.upper()
    body = write_c_body(schedule(program), f"{p}_{one}", p)
    single = "\n".join(f"    {each}(channels, results, kept, 1);" for each in body.functions)
    tile = "\n".join(
        f"    for (lane = 0; lane < {P}_LANES; ++lane) {{\n"
        f"        {each}(c + lane, o + lane, t + lane, {P}_LANES);\n    }}"
        for each in body.functions
    )
    entries = _ENTRIES.format(p=p, P=P, one=one, many=many, rows=rows, kept=max(body.kept, 1), single=single, tile=tile)
    return body.text + "\n" + entries


def _derivative_declarations(form: RuntimeForm) -> str:
    return _DERIVATIVES.format(p=form.name, P=form.name.upper(), count=len(form.derivative_places))


def _comment(text: str) -> str:
    """Text that cannot end a comment."""
    return text.encode("ascii", "replace").decode().replace("*/", "* /").replace("/*", "/ *").replace("\\", "/")


def _numbered(names: Iterable[str]) -> str:
    return "\n".join(f"    {name} = {number}," for number, name in enumerate(names)).removesuffix(",")


def _real(P: str, value: float) -> str:
    return f"{P}_R({value!r})"


def _table(declaration: str, entries: Iterable[str]) -> str:
    return f"{declaration} = {{\n" + ",\n".join(f"    {entry}" for entry in entries) + "\n};\n"


_HEADER: Final = """\
/* The rig of {character}. Written by Instep from the rig's program: do not edit, write it again instead. */
#ifndef {P}_RIG_H
#define {P}_RIG_H

#include <stddef.h>

/* Define {P}_SINGLE for the whole build to compute in single precision. */
{number_type}
enum {{
    {P}_CHANNELS = {channels},
    {P}_JOINTS = {joints},
    {P}_PER_JOINT = {per_joint},
    {P}_OUTPUTS = {outputs} /* 1 + {P}_PER_JOINT * {P}_JOINTS */
}};

/* Channels: angles in degrees, lengths in the unit of the character's file. */
enum {{
{channel_numbers}
}};

enum {{
{joint_numbers}
}};

#ifdef __cplusplus
extern "C" {{
#endif

extern const char *const {p}_channel_names[{P}_CHANNELS];
extern const {p}_real {p}_channel_defaults[{P}_CHANNELS]; /* the bind pose */
extern const {p}_real {p}_channel_lows[{P}_CHANNELS];
extern const {p}_real {p}_channel_highs[{P}_CHANNELS];
extern const char *const {p}_joint_names[{P}_JOINTS];
extern const int {p}_joint_parents[{P}_JOINTS]; /* -1: none */
extern const {p}_real {p}_joint_bind[{P}_JOINTS][3]; /* places in the bind pose */
extern const {p}_real {p}_leg_length; /* hip to ankle */

/* One pose. `joints` gets the scale, then for joint j at 1 + {P}_PER_JOINT * j: w x y z, its turn as a change from the
   bind pose in world axes, and across up along, its place along the world's x, y, z. A vertex x that is bound to joint
   j alone goes to scale * (turn applied to (x - {p}_joint_bind[j])) + place. Ranges are not checked. */
void {p}_pose(const {p}_real *channels, {p}_real *joints);

/* {P}_LANES poses at once: row k of channels at channels[k], one number for each pose. The fastest form. */
void {p}_pose_tile(const {p}_real (*channels)[{P}_LANES], {p}_real (*joints)[{P}_LANES]);

/* Any number of poses: channel k of pose n at channels[k * channel_step + n * pose_step], and output k of pose n at
   joints[k * output_step + n * out_pose_step]. */
void {p}_poses(ptrdiff_t count, const {p}_real *channels, ptrdiff_t channel_step, ptrdiff_t pose_step,
    {p}_real *joints, ptrdiff_t output_step, ptrdiff_t out_pose_step);
"""

_DERIVATIVES: Final = """
/* Derivatives that are not always zero: number d is that of output {p}_derivative_outputs[d] by channel
   {p}_derivative_channels[d]. Functions as above. */
enum {{ {P}_DERIVATIVES = {count} }};
extern const int {p}_derivative_outputs[{P}_DERIVATIVES];
extern const int {p}_derivative_channels[{P}_DERIVATIVES];
void {p}_derivative(const {p}_real *channels, {p}_real *derivatives);
void {p}_derivative_tile(const {p}_real (*channels)[{P}_LANES], {p}_real (*derivatives)[{P}_LANES]);
void {p}_derivatives(ptrdiff_t count, const {p}_real *channels, ptrdiff_t channel_step, ptrdiff_t pose_step,
    {p}_real *derivatives, ptrdiff_t output_step, ptrdiff_t out_pose_step);
"""

_HEADER_END: Final = """
#ifdef __cplusplus
}}
#endif

#endif /* {P}_RIG_H */
"""

_SOURCE: Final = """\
/* The rig of {character}. Written by Instep from the rig's program: do not edit, write it again instead. */
#include "{p}_rig.h"

#include <math.h>

{prelude}"""

_ENTRIES: Final = """
void {p}_{one}(const {p}_real *channels, {p}_real *results)
{{
    {p}_real kept[{kept}];
{single}
}}

void {p}_{one}_tile(const {p}_real (*channels)[{P}_LANES], {p}_real (*results)[{P}_LANES])
{{
    {P}_ALIGNED {p}_real kept[{kept}][{P}_LANES];
    const {p}_real *{P}_ALONE c = channels[0];
    {p}_real *{P}_ALONE o = results[0];
    {p}_real *{P}_ALONE t = kept[0];
    int lane;
{tile}
}}

void {p}_{many}(ptrdiff_t count, const {p}_real *channels, ptrdiff_t channel_step, ptrdiff_t pose_step,
    {p}_real *results, ptrdiff_t output_step, ptrdiff_t out_pose_step)
{{
    {P}_ALIGNED {p}_real c[{P}_CHANNELS][{P}_LANES];
    {P}_ALIGNED {p}_real o[{rows}][{P}_LANES];
    ptrdiff_t first, k, lane;
    for (first = 0; first < count; first += {P}_LANES) {{
        const ptrdiff_t lanes = count - first < {P}_LANES ? count - first : (ptrdiff_t){P}_LANES;
        for (k = 0; k < {P}_CHANNELS; ++k) {{
            for (lane = 0; lane < {P}_LANES; ++lane) {{ /* lanes to spare repeat the last pose */
                const ptrdiff_t pose = first + (lane < lanes ? lane : lanes - 1);
                c[k][lane] = channels[k * channel_step + pose * pose_step];
            }}
        }}
        {p}_{one}_tile((const {p}_real (*)[{P}_LANES])c, o);
        for (k = 0; k < {rows}; ++k) {{
            for (lane = 0; lane < lanes; ++lane) {{
                results[k * output_step + (first + lane) * out_pose_step] = o[k][lane];
            }}
        }}
    }}
}}
"""
