"""However a file is damaged, it is read, or refused in words."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from instep.errors import InstepError
from instep.formats import read_character
from tests.biped import make_biped
from tests.formats.odd import Odd, glb, make_odd
from tests.formats.test_bad_input import parts, written


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return make_odd(make_biped(), tmp_path_factory.mktemp("good") / "good", Odd()).read_bytes()


def mutated(value: Any, random: np.random.Generator) -> Any:
    """A JSON value with one place in it changed to something else."""
    if isinstance(value, dict) and value and random.random() < 0.95:
        key = list(value)[int(random.integers(len(value)))]
        if random.random() < 0.05:
            return {k: v for k, v in value.items() if k != key}
        return value | {key: mutated(value[key], random)}
    if isinstance(value, list) and value and random.random() < 0.95:
        at = int(random.integers(len(value)))
        return [*value[:at], mutated(value[at], random), *value[at + 1 :]]
    others: list[Any] = [None, True, -1, 0, 1, 7, 2**40, 0.5, 1e308, "", "x", [], {}, [None], [[1]], {"a": 1}]
    return others[int(random.integers(len(others)))]


@pytest.mark.parametrize("seed", range(40))
def test_no_change_of_the_json_breaks_out_of_the_tree_of_errors(seed: int, good: bytes, tmp_path: Path) -> None:
    """25 random files a seed: each is read, or refused in words."""
    random = np.random.default_rng(seed)
    refused: list[str] = []
    for _ in range(25):
        tree, binary = parts(good)
        for _ in range(int(random.integers(1, 4))):
            tree = mutated(tree, random)
        path = written(tmp_path / "bad.glb", glb(json.dumps(tree).encode(), bytes(binary)))
        try:
            read_character(path)
        except InstepError as error:
            refused.append(str(error))
    assert refused
    assert all(text.startswith("bad.glb") for text in refused)


@pytest.mark.parametrize("seed", range(10))
def test_no_change_of_the_bytes_breaks_out_of_the_tree_of_errors(seed: int, good: bytes, tmp_path: Path) -> None:
    random = np.random.default_rng(1000 + seed)
    for _ in range(10):
        raw = bytearray(good)
        where = random.integers(0, 20000, 30)
        for at in where:
            raw[at] = int(random.integers(256))
        path = written(tmp_path / "bad.glb", bytes(raw))
        with pytest.raises(InstepError):
            read_character(path)
