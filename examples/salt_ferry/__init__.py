"""The cast of *The Salt Ferry*, a small puppet-opera game, made by code.

Grub, a marsh troll with huge lumpy feet; Odile, the ferrywoman, in heeled boots; Pip, a child, barefoot. Each
is made from implicit surfaces and can be made again with other proportions. What is known of their feet from
the making comes with them, so that measuring can be tested against it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from examples.salt_ferry.grub import grub
from examples.salt_ferry.member import CastMember, Recipe, build_member
from examples.salt_ferry.odile import odile
from examples.salt_ferry.pip import pip
from instep.errors import CharacterError

__all__ = ["CAST", "RECIPES", "CastMember", "make_member"]

RECIPES: Mapping[str, Callable[[float, Mapping[str, float]], Recipe]] = {"grub": grub, "odile": odile, "pip": pip}


def make_member(name: str, *, detail: float = 1.0, **proportions: float) -> CastMember:
    """One of the cast.

    The number of vertices goes with `detail`: 35,000 to 40,000 at 1, 4,000 to 8,000 at 0.08, which is enough for
    tests but wears thin cloth and fingers into holes. Which proportions a member has is told by the dataclass at
    the head of its file. The same arguments give the same bytes.

    Raises CharacterError for an unknown name or proportion, and for a value that makes no sense.
    """
    if name not in RECIPES:
        raise CharacterError(f"there is no {name!r} in the cast", expected="one of " + ", ".join(RECIPES))
    if not 0.02 <= detail <= 20.0:
        raise CharacterError(f"the detail is {detail!r}", where=name, expected="a number from 0.02 to 20")
    return build_member(name, RECIPES[name](detail, proportions))


def _maker(name: str) -> Callable[..., CastMember]:
    def make(*, detail: float = 1.0, **proportions: float) -> CastMember:
        return make_member(name, detail=detail, **proportions)

    return make


CAST: dict[str, Callable[..., CastMember]] = {name: _maker(name) for name in RECIPES}
"""Each member's maker by name: ``CAST["pip"](detail=0.1, height=1.2)``."""
