"""A rig from a rig file's description, measured and solved as the command line does it."""

from __future__ import annotations

import json
from collections import OrderedDict
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from instep.character import Character
from instep.delivery.job import completed_description as completed
from instep.errors import RigFileError
from instep.landmarks import Measurement
from instep.rig import Rig, RigDescription
from instep.rig.description import TunedLeg
from instep.rig.file import build_described_rig, measure_described
from instep.rig.tuning.hold import solve_hold
from instep.rig.tuning.tune import solved_before, tune_rig, with_solved

REMEMBERED: Final = 8
"""Rigs that are kept, so that undoing does not wait."""


@dataclass(eq=False)
class Builder:
    """Builds rigs of one character, and remembers the last ones."""

    character: Character
    rig_file: Path
    _rigs: OrderedDict[str, Rig] = field(default_factory=OrderedDict)
    _measurements: OrderedDict[str, Measurement] = field(default_factory=OrderedDict)

    def build(self, description: RigDescription) -> Rig:
        """The rig of a description as it stands. Raises as `instep.rig.file.load_rig`."""
        key = text_of(description)
        if key in self._rigs:
            self._rigs.move_to_end(key)
            return self._rigs[key]
        rig = build_described_rig(self.character, self.measure(description), description, self.rig_file)
        _remember(self._rigs, key, rig)
        return rig

    def solve(self, description: RigDescription) -> RigDescription:
        """The description with landmarks as measured now, every leg's options, and numbers solved anew."""
        bare = description.model_copy(update={"tuned": {}})
        whole = completed(bare, self.measure(bare))
        fits = solve_hold(self.build(whole))
        solved = whole.model_copy(update={"tuned": {leg: TunedLeg(hold=fit.hold) for leg, fit in fits.items()}})
        # What `instep tune` has solved is solved again, not lost.
        again = [number for number in solved_before(description) if number != "hold"]
        return with_solved(solved, tune_rig(self.build(solved), again)) if again else solved

    def measure(self, description: RigDescription) -> Measurement:
        """The measurement with what the description sets by hand."""
        data = description.model_dump(mode="json", include={"by_hand", "tuned"})
        key = json.dumps([data["by_hand"]["landmarks"], data["tuned"]], sort_keys=True)
        if key not in self._measurements:
            measurement = measure_described(self.character, description, self.rig_file)
            _remember(self._measurements, key, measurement)
        return self._measurements[key]


def _remember(store: OrderedDict[str, Any], key: str, value: Any) -> None:
    store[key] = value
    while len(store) > REMEMBERED:
        store.popitem(last=False)


def text_of(description: RigDescription) -> str:
    """A description as one line that is equal for equal descriptions."""
    return json.dumps(description.model_dump(mode="json", exclude_none=True), sort_keys=True)


def edited(description: RigDescription, keys: tuple[str, ...], value: object) -> RigDescription:
    """The description with one entry set; None takes it out. Raises RigFileError where it is not valid then."""
    data = description.model_dump(exclude_none=True)
    table: dict[str, Any] = data
    for key in keys[:-1]:
        table = table.setdefault(key, {})
    if value is None:
        table.pop(keys[-1], None)
    else:
        table[keys[-1]] = value
    if keys[:2] == ("by_hand", "tuned") and len(keys) == 4 and not table:
        del data["by_hand"]["tuned"][keys[2]]
    try:
        return RigDescription.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        raise RigFileError(
            f"{'.'.join(keys)} = {value!r} is refused: {str(first['msg']).removeprefix('Value error, ')}",
            cure="Choose another value; nothing has been changed",
        ) from None


def differences(mine: RigDescription, theirs: RigDescription) -> list[tuple[str, str, str]]:
    """What differs, as (name, mine, theirs), entry by entry; "—" where one has no such entry."""
    one, other = _flat(mine.model_dump(exclude_none=True)), _flat(theirs.model_dump(exclude_none=True))
    names = [*one, *(name for name in other if name not in one)]
    return [(name, one.get(name, "—"), other.get(name, "—")) for name in names if one.get(name) != other.get(name)]


def _flat(data: dict[str, Any], head: str = "") -> dict[str, str]:
    found: dict[str, str] = {}
    for key, value in data.items():
        name = f"{head}.{key}" if head else key
        if isinstance(value, dict):
            found |= _flat(value, name)
        elif isinstance(value, (list, tuple)):
            found[name] = ", ".join(f"{part:.4g}" if isinstance(part, float) else str(part) for part in value)
        else:
            found[name] = f"{value:.6g}" if isinstance(value, float) else str(value)
    return found
