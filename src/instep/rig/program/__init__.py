"""A rig's function as a straight-line program: traced once, then written in any language.

A program is plain data: nothing here but `trace` and `derivatives` needs CasADi.
"""

from instep.rig.program.model import Instruction, Op, Program

__all__ = ["Instruction", "Op", "Program"]
