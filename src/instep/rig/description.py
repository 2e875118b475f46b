"""What a rig file says: a short description, validated whole.

What a person set stands under ``by_hand`` and is never changed by the tool; ``measured`` and ``tuned`` are the
tool's own, written for reading and for telling what moved when the model changes.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, FiniteFloat, model_validator

VERSION: Literal[1] = 1
"""Of the rig file's layout."""

Share = Annotated[FiniteFloat, Field(ge=0.0, le=1.0)]
Point = tuple[FiniteFloat, FiniteFloat, FiniteFloat]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class LegOptions(_Table):
    """How one leg is built.

    Attributes
    ----------
    soft : length of the soft zone at full reach, as a share of the leg; shortened where the rest pose needs it.
    stretch_limit : greatest factor on the leg's length.
    settle_deg : angle over which roll and bank ease in, degrees.
    spaces : what the foot can follow besides root and world: "pelvis" or names of plain joints.
    """

    soft: Annotated[FiniteFloat, Field(ge=0.0, le=0.5)] = 0.03
    stretch_limit: Annotated[FiniteFloat, Field(ge=1.001, le=4.0)] = 1.3
    settle_deg: Annotated[FiniteFloat, Field(ge=0.1, le=20.0)] = 4.0
    spaces: tuple[str, ...] = ("pelvis",)


class TunedLeg(_Table):
    """Numbers of one leg that can be solved from the mesh; a missing one has its default.

    Attributes
    ----------
    hold : how far the toes undo the ball's turn.
    ball_gives_out_deg, tip_takes_over_deg : the roll at which the ball starts to pass over to the tip, and at
        which the tip has taken over.
    """

    hold: Share | None = None
    ball_gives_out_deg: Annotated[FiniteFloat, Field(ge=0.0, le=89.0)] | None = None
    tip_takes_over_deg: Annotated[FiniteFloat, Field(ge=1.0, le=120.0)] | None = None

    @model_validator(mode="after")
    def _in_order(self) -> TunedLeg:
        if (
            self.ball_gives_out_deg is not None
            and self.tip_takes_over_deg is not None
            and self.tip_takes_over_deg < self.ball_gives_out_deg + 1.0
        ):
            raise ValueError("tip_takes_over_deg must be at least 1 degree beyond ball_gives_out_deg")
        return self


class ByHand(_Table):
    """What a person decided. Keys are dotted names: "left.heel", "left.foot.roll".

    Attributes
    ----------
    landmarks : places in the character's world, in its file's unit.
    tuned : by leg.
    ranges : (low, high) by channel.
    pinned : channels fixed to a value, by name: the rig then has no such channel.
    """

    landmarks: dict[str, Point] = Field(default_factory=dict)
    tuned: dict[str, TunedLeg] = Field(default_factory=dict)
    ranges: dict[str, tuple[FiniteFloat, FiniteFloat]] = Field(default_factory=dict)
    pinned: dict[str, FiniteFloat] = Field(default_factory=dict)


class RigDescription(_Table):
    """The whole rig file.

    Attributes
    ----------
    character : path of the character's file, relative to the rig file.
    controls : "essential" (foot, ball, toes and knee, pelvis and root, plain joints) or "full".
    plain : whether joints that no leg owns get a control each.
    options : by leg; a leg that is not named has the defaults.
    by_hand : what a person set.
    measured : landmarks as they were measured when the file was written, by dotted name.
    tuned : numbers that the tool solved, by leg.
    """

    version: Literal[1] = 1
    character: str
    controls: Literal["essential", "full"] = "essential"
    plain: bool = True
    options: dict[str, LegOptions] = Field(default_factory=dict)
    by_hand: ByHand = Field(default_factory=ByHand)
    measured: dict[str, Point] = Field(default_factory=dict)
    tuned: dict[str, TunedLeg] = Field(default_factory=dict)
