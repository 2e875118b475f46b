"""What a user can cause to go wrong with motion."""

from __future__ import annotations

from instep.errors import InstepError


class MotionError(InstepError):
    """A clip does not fit the rig, or nothing can be made of it."""
