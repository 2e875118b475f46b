"""A character as frozen data: skeleton, skin, mesh, clips; linear blend skinning. Knows no files."""

from instep.character.clip import Clip, Track
from instep.character.mesh import Mesh, MeshPart
from instep.character.model import Character, Note
from instep.character.pose import Poses
from instep.character.skeleton import Skeleton

__all__ = ["Character", "Clip", "Mesh", "MeshPart", "Note", "Poses", "Skeleton", "Track"]
