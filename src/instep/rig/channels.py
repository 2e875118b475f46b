"""Channels: the animator's numbers."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from instep.errors import ChannelError, RigFileError
from instep.frames.scalar import Scalar
from instep.rig.nearest import nearest_name

Unit = Literal["deg", "length", "share"]
ControlSet = Literal["essential", "full"]

MIDDLE_FLIPS: Final = frozenset({"across", "yaw", "lean"})
"""Quantities of a control in the body's middle that change sign in a mirrored pose; no others do."""


@dataclass(frozen=True, slots=True)
class Channel:
    """One number of a control.

    Attributes
    ----------
    control, quantity : ``control.quantity`` is the channel's name: "left.foot", "roll".
    unit : degrees, the file's unit of length, or a share (0 to 1, or a factor).
    low, high : the range that the animator is offered; inclusive.
    default : the value at rest.
    sentence : what it does, in one sentence.
    """

    control: str
    quantity: str
    unit: Unit
    low: float
    high: float
    default: float
    sentence: str

    @property
    def name(self) -> str:
        """The channel's whole name."""
        return f"{self.control}.{self.quantity}"


@dataclass(slots=True)
class ChannelBook:
    """Collects the channels while the rig's function is being written, and gives each its symbol.

    Attributes
    ----------
    chosen : which controls the rig has; a channel that is not among them is the constant default, and all
        that hangs on it folds away.
    symbol : makes the scalar that stands for a channel.
    ranges : ranges set by hand, by channel name.
    pinned : channels fixed by hand to a value, by name: constants, not channels.
    channels, symbols : those that the rig has, in order.
    offered : names of all channels that the parts could have.
    """

    chosen: ControlSet
    symbol: Callable[[str], Scalar]
    ranges: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    pinned: Mapping[str, float] = field(default_factory=dict)
    channels: list[Channel] = field(default_factory=list)
    symbols: list[Scalar] = field(default_factory=list)
    offered: set[str] = field(default_factory=set)

    def take(
        self,
        name: str,
        unit: Unit,
        low: float,
        high: float,
        sentence: str,
        *,
        default: float = 0.0,
        essential: bool = False,
        control: str = "",
    ) -> Scalar:
        """The symbol of a channel, or its constant value where the rig does not have it.

        `control` is told where the quantity has dots of its own; otherwise it is all before the last dot.
        """
        self.offered.add(name)
        given = self.ranges.get(name, (low, high))
        if unit == "share" and not (low <= given[0] and given[1] <= high):
            raise RigFileError(
                f"{name} is given the range {given[0]:g} to {given[1]:g}, and its mechanism bears {low:g} to {high:g}",
                where="by_hand.ranges",
                cure="Keep the range of a share inside what the mechanism bears",
            )
        low, high = given
        if name in self.pinned:
            if not low <= self.pinned[name] <= high:
                raise RigFileError(
                    f"{name} is pinned to {self.pinned[name]:g}, outside its range {low:g} to {high:g}",
                    where="by_hand.pinned",
                    cure="Pin it to a value inside, or widen the range under by_hand.ranges",
                )
            return float(self.pinned[name])
        if self.chosen == "essential" and not essential:
            return default
        if not low <= default <= high:
            raise RigFileError(
                f"{name} rests at {default:g}, outside its range {low:g} to {high:g}",
                where="by_hand.ranges",
                cure="Widen the range so that it holds the rest value",
            )
        control = control or name.rpartition(".")[0]
        self.channels.append(Channel(control, name[len(control) + 1 :], unit, low, high, default, sentence))
        self.symbols.append(self.symbol(name))
        return self.symbols[-1]

    def refuse_unknown(self, where: str) -> None:
        """Raise RigFileError where a range or a pin names a channel that the character has not got."""
        for table, names in (("ranges", self.ranges), ("pinned", self.pinned)):
            for name in names:
                if name not in self.offered:
                    near = nearest_name(name, self.offered)
                    raise RigFileError(
                        f'"{name}" is no channel of this character',
                        where=f"{where}: by_hand.{table}",
                        expected=f'one such as "{near}"' if near else "",
                        cure="Correct the name, or delete the line",
                    )


def find_channel(channels: tuple[Channel, ...], name: str, offered: Collection[str] = ()) -> int:
    """The number of the channel of this name.

    Raises ChannelError that names the nearest, or says that the channel is among those that were `offered` by the
    parts but not chosen for this rig.
    """
    names = [channel.name for channel in channels]
    if name in names:
        return names.index(name)
    if name in offered:
        raise ChannelError(
            f'"{name}" is a channel that this rig leaves out',
            expected=f"one of the {len(names)} channels that it has",
            cure='Write controls = "full" in the rig file, or take the channel out of by_hand.pinned',
        )
    near = nearest_name(name, names)
    raise ChannelError(
        f'"{name}" is no channel of this rig',
        expected=f'one such as "{near}"' if near else f"one of {len(names)} names",
        cure="See `instep why` for what a control has",
    )


def check_range(channel: Channel, value: float) -> float:
    """The value, where it lies in the channel's range; otherwise ChannelError."""
    slack = 1e-9 * max(abs(channel.low), abs(channel.high))
    if not channel.low - slack <= value <= channel.high + slack:  # also false for NaN
        unit = {"deg": "°", "length": " (length)", "share": ""}[channel.unit]
        raise ChannelError(
            f"{channel.name} = {value:g}{unit} is out of range",
            expected=f"{channel.low:g} to {channel.high:g}",
            cure="Choose a value inside, or widen the range in the rig file under by_hand.ranges",
        )
    return value
