"""A character as frozen data: skeleton, skin, mesh, clips; linear blend skinning. Knows no files."""

from instep.character.clip import BakedClip, Clip, Track
from instep.character.mesh import Mesh, MeshPart
from instep.character.model import Character, Note
from instep.character.pose import Poses
from instep.character.sampling import poses_from_world, sample_clip, sample_poses, world_from_local
from instep.character.skeleton import Skeleton
from instep.character.skinning import skin_vertices

__all__ = [
    "BakedClip",
    "Character",
    "Clip",
    "Mesh",
    "MeshPart",
    "Note",
    "Poses",
    "Skeleton",
    "Track",
    "poses_from_world",
    "sample_clip",
    "sample_poses",
    "skin_vertices",
    "world_from_local",
]
