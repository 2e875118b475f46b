"""What a rig file says: a short description, validated whole.

What a person set stands under ``by_hand`` and is never changed by the tool; ``measured`` and ``tuned`` are the
tool's own, written for reading and for telling what moved when the model changes.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, FiniteFloat, field_validator, model_validator

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


class HandTunedLeg(_Table):
    """Numbers of one leg that can be solved from the mesh, or set by hand in place of that; else the default.

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
    def _in_order(self) -> Self:
        if (
            self.ball_gives_out_deg is not None
            and self.tip_takes_over_deg is not None
            and self.tip_takes_over_deg < self.ball_gives_out_deg + 1.0
        ):
            raise ValueError("tip_takes_over_deg must be at least 1 degree beyond ball_gives_out_deg")
        return self


class TunedLeg(HandTunedLeg):
    """Numbers of one leg that the tool solved. What is set by hand elsewhere goes before the last four.

    Attributes
    ----------
    soft : length of the soft zone, as a share of the leg; holds where ``options`` has the default.
    knee_aim_deg : how far outward of the foot's axis a knee bends that stands too straight to have a way of its own.
    outer_shift, inner_shift : how far the edge's pivot lies outward of its landmark (away from the foot's middle)
        and over it, as shares of the foot's length; holds where the landmark is not set by hand.
    """

    soft: Annotated[FiniteFloat, Field(ge=0.0, le=0.5)] | None = None
    knee_aim_deg: Annotated[FiniteFloat, Field(ge=-180.0, le=180.0)] | None = None
    outer_shift: tuple[FiniteFloat, FiniteFloat] | None = None
    inner_shift: tuple[FiniteFloat, FiniteFloat] | None = None


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
    tuned: dict[str, HandTunedLeg] = Field(default_factory=dict)
    ranges: dict[str, tuple[FiniteFloat, FiniteFloat]] = Field(default_factory=dict)
    pinned: dict[str, FiniteFloat] = Field(default_factory=dict)

    @field_validator("tuned", mode="before")
    @classmethod
    def _of_a_hand(cls, tuned: object) -> object:
        """What a hand sets is a HandTunedLeg, also where it is handed over as the tool's TunedLeg."""
        if not isinstance(tuned, dict):
            return tuned
        return {
            leg: HandTunedLeg.model_validate(entry.model_dump(exclude_none=True)) if type(entry) is TunedLeg else entry
            for leg, entry in tuned.items()
        }


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
    reached : by leg and number, the figure that solving is about, before and after it.
    """

    version: Literal[1] = 1
    character: str
    controls: Literal["essential", "full"] = "essential"
    plain: bool = True
    options: dict[str, LegOptions] = Field(default_factory=dict)
    by_hand: ByHand = Field(default_factory=ByHand)
    measured: dict[str, Point] = Field(default_factory=dict)
    tuned: dict[str, TunedLeg] = Field(default_factory=dict)
    reached: dict[str, dict[str, tuple[FiniteFloat, FiniteFloat]]] = Field(default_factory=dict)
