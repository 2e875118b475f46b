"""Everything that a user can cause to go wrong, as one tree of errors.

Each message says what was seen, where, what was expected, and what to do. The command line prints
the message and exits with status 2; nothing has been written by then.
"""

from __future__ import annotations


class InstepError(Exception):
    """Base of every error that a user can cause.

    Parameters
    ----------
    seen : what was found, as a sentence without its full stop.
    where : the file, and the place in it, for example ``"grub.glb: accessor 12"``.
    expected : what should have been there instead.
    cure : what to do about it, as an imperative sentence without its full stop.
    """

    def __init__(self, seen: str, *, where: str = "", expected: str = "", cure: str = "") -> None:
        self.seen = seen
        self.where = where
        self.expected = expected
        self.cure = cure
        super().__init__(str(self))

    def __str__(self) -> str:
        text = f"{self.where}: {self.seen}" if self.where else self.seen
        if self.expected:
            text += f"; expected {self.expected}"
        if self.cure:
            text += f". {self.cure}"
        return text + "."


class FormatError(InstepError):
    """A file is not what its format demands, or uses what cannot be honoured."""


class CharacterError(InstepError):
    """A character was read, but it cannot be rigged as it is."""


class LandmarkError(InstepError):
    """A leg or a landmark could not be measured, or a hand-set value makes no sense."""


class RigFileError(InstepError):
    """A rig file is not valid, or does not fit its character."""


class ChannelError(InstepError):
    """A channel does not exist, or its value lies outside its range."""


class CycleError(InstepError):
    """Controls depend on one another in a circle; the message carries the path."""


class ProgramError(InstepError):
    """A rig's function cannot be written as a straight-line program."""


class OutputError(InstepError):
    """A result cannot be written where it was asked for."""


class CheckError(InstepError):
    """A check was asked for that does not exist."""


class ClusterError(InstepError):
    """Work cannot be spread over other machines: the means are not installed, or nobody answers there."""
