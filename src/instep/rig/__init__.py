"""The rig: a pure function from channels to joint transforms, written once."""

from instep.rig.channels import Channel
from instep.rig.description import RigDescription
from instep.rig.rig import Rig, build_rig

__all__ = ["Channel", "Rig", "RigDescription", "build_rig"]
