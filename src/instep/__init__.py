"""Instep: leg-and-foot rigs for animators, measured from a skinned character and proven.

What most programs need is offered here by name; each is imported when it is first used, so that importing `instep`
alone costs nothing. See docs/python.md.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

__version__ = "0.1.0"

if TYPE_CHECKING:
    from instep.character import BakedClip, Character, Clip, Poses, skin_vertices
    from instep.delivery.job import JobResult, rig_job
    from instep.errors import InstepError
    from instep.formats import read_character, read_clips, write_clips, write_pose
    from instep.landmarks import Measurement, measure
    from instep.rig import Channel, Rig, RigDescription, build_rig
    from instep.rig.explain import explain
    from instep.rig.file import load_rig, read_rig_file, write_rig_file

_HOMES: Final = {
    "BakedClip": "instep.character",
    "Channel": "instep.rig",
    "Character": "instep.character",
    "Clip": "instep.character",
    "InstepError": "instep.errors",
    "JobResult": "instep.delivery.job",
    "Measurement": "instep.landmarks",
    "Poses": "instep.character",
    "Rig": "instep.rig",
    "RigDescription": "instep.rig",
    "build_rig": "instep.rig",
    "explain": "instep.rig.explain",
    "load_rig": "instep.rig.file",
    "measure": "instep.landmarks",
    "read_character": "instep.formats",
    "read_clips": "instep.formats",
    "read_rig_file": "instep.rig.file",
    "rig_job": "instep.delivery.job",
    "skin_vertices": "instep.character",
    "write_clips": "instep.formats",
    "write_pose": "instep.formats",
    "write_rig_file": "instep.rig.file",
}
"""Where each name lives."""

__all__ = [
    "BakedClip",
    "Channel",
    "Character",
    "Clip",
    "InstepError",
    "JobResult",
    "Measurement",
    "Poses",
    "Rig",
    "RigDescription",
    "__version__",
    "build_rig",
    "explain",
    "load_rig",
    "measure",
    "read_character",
    "read_clips",
    "read_rig_file",
    "rig_job",
    "skin_vertices",
    "write_clips",
    "write_pose",
    "write_rig_file",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)
