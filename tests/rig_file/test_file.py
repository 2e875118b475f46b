"""Rig files: what is written reads back equal, what a person wrote stays, and each fault is named with its place."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from instep.rig.description import ByHand, HandTunedLeg, LegOptions, RigDescription, TunedLeg
from instep.rig.file import read_rig_file, write_rig_file

legs = st.sampled_from(["left", "right", "left.hind", "right.fore"])
texts = st.text(st.characters(codec="utf-8"), max_size=12)
words = st.sampled_from(["left.heel", "left.foot.roll", "spine.yaw", "Arm L.pitch"]) | texts
numbers = st.floats(allow_nan=False, allow_infinity=False)
points = st.tuples(numbers, numbers, numbers)
options = st.builds(
    LegOptions,
    soft=st.floats(0.0, 0.5),
    stretch_limit=st.floats(1.001, 4.0),
    settle_deg=st.floats(0.1, 20.0),
    spaces=st.lists(words, max_size=3).map(tuple),
)
tuned = st.builds(
    TunedLeg,
    hold=st.none() | st.floats(0.0, 1.0),
    ball_gives_out_deg=st.none() | st.floats(0.0, 60.0),
    tip_takes_over_deg=st.none() | st.floats(61.0, 120.0),
)
by_hand = st.builds(
    ByHand,
    landmarks=st.dictionaries(words, points, max_size=3),
    tuned=st.dictionaries(legs, tuned, max_size=2),
    ranges=st.dictionaries(words, st.tuples(numbers, numbers), max_size=3),
    pinned=st.dictionaries(words, numbers, max_size=3),
)
descriptions = st.builds(
    RigDescription,
    character=texts,
    controls=st.sampled_from(["essential", "full"]),
    plain=st.booleans(),
    options=st.dictionaries(legs, options, max_size=2),
    by_hand=by_hand,
    measured=st.dictionaries(words, points, max_size=3),
    tuned=st.dictionaries(legs, tuned, max_size=2),
)


@given(descriptions)
def test_what_is_written_reads_back_equal(
    tmp_path_factory: pytest.TempPathFactory, description: RigDescription
) -> None:
    path = tmp_path_factory.mktemp("written") / "made.rig.toml"
    write_rig_file(description, path)
    assert read_rig_file(path) == description


@given(descriptions, descriptions)
def test_what_is_written_over_another_reads_back_equal(
    tmp_path_factory: pytest.TempPathFactory, before: RigDescription, after: RigDescription
) -> None:
    path = tmp_path_factory.mktemp("over") / "made.rig.toml"
    write_rig_file(before, path)
    write_rig_file(after, path)
    assert read_rig_file(path) == after


HAND_WRITTEN = """\
# Grub, as agreed on Tuesday.
character = "grub.glb"   # do not move

[tuned.right]
hold = 0.5 # solved

[measured]
left.heel = [0.1, 0.0, -0.1]
"right.heel" = [-0.1, 0.0, -0.1]

[by_hand]
pinned = { left.foot.bank = 0, "root.scale" = 1 }

[by_hand.landmarks]
# the nail sticks out here
left.heel = [
    1, # x
    2,
    3,
]

[by_hand.ranges]
"left.foot.roll" = [-10, 70]
[options.left.hind]
soft = 0
[by_hand.tuned.left]
hold = 1
"""


def test_dotted_names_may_be_written_with_or_without_quotes(tmp_path: Path) -> None:
    path = tmp_path / "grub.rig.toml"
    path.write_text(HAND_WRITTEN, encoding="utf-8")
    assert read_rig_file(path) == RigDescription(
        character="grub.glb",
        options={"left.hind": LegOptions(soft=0.0)},
        by_hand=ByHand(
            landmarks={"left.heel": (1.0, 2.0, 3.0)},
            tuned={"left": TunedLeg(hold=1.0)},
            ranges={"left.foot.roll": (-10.0, 70.0)},
            pinned={"left.foot.bank": 0.0, "root.scale": 1.0},
        ),
        measured={"left.heel": (0.1, 0.0, -0.1), "right.heel": (-0.1, 0.0, -0.1)},
        tuned={"right": TunedLeg(hold=0.5)},
    )


def test_writing_what_a_file_says_already_changes_no_byte(tmp_path: Path) -> None:
    path = tmp_path / "grub.rig.toml"
    path.write_text(HAND_WRITTEN, encoding="utf-8")
    write_rig_file(read_rig_file(path), path)
    assert path.read_text(encoding="utf-8") == HAND_WRITTEN


def test_only_the_lines_that_differ_are_changed(tmp_path: Path) -> None:
    path = tmp_path / "grub.rig.toml"
    path.write_text(HAND_WRITTEN, encoding="utf-8")
    description = read_rig_file(path)
    measured = description.measured | {"right.heel": (-0.2, 0.0, 0.0), "right.tip": (-0.2, 0.0, 0.3)}
    write_rig_file(
        description.model_copy(
            update={"measured": measured, "tuned": {"right": TunedLeg(hold=0.75), "left": TunedLeg(hold=0.25)}}
        ),
        path,
    )
    assert path.read_text(encoding="utf-8") == HAND_WRITTEN.replace(
        "hold = 0.5 # solved", "hold = 0.75 # solved"
    ).replace(
        '"right.heel" = [-0.1, 0.0, -0.1]\n', '"right.heel" = [-0.2, 0.0, 0.0]\n"right.tip" = [-0.2, 0.0, 0.3]\n'
    ).replace("\n[measured]", "\n[tuned.left]\nhold = 0.25\n\n[measured]")


sections = st.permutations(HAND_WRITTEN.split("\n[")[1:]).map(
    lambda parts: "\n[".join([HAND_WRITTEN.split("\n[")[0], *(part.rstrip() + "\n" for part in parts)])
)


@settings(max_examples=200)
@given(sections, descriptions)
def test_tables_may_stand_in_any_order(
    tmp_path_factory: pytest.TempPathFactory, text: str, description: RigDescription
) -> None:
    path = tmp_path_factory.mktemp("order") / "grub.rig.toml"
    path.write_text(text, encoding="utf-8")
    write_rig_file(description, path)
    assert read_rig_file(path) == description
    assert "# Grub, as agreed on Tuesday." in path.read_text(encoding="utf-8")


def test_a_table_appended_at_the_end_stays_there(tmp_path: Path) -> None:
    path = tmp_path / "grub.rig.toml"
    write_rig_file(RigDescription(character="grub.glb", options={"left": LegOptions()}), path)
    text = path.read_text(encoding="utf-8") + "\n[by_hand.tuned.left]\nhold = 0.5  # by eye\n"
    path.write_text(text, encoding="utf-8")
    description = read_rig_file(path)
    hand = description.by_hand
    assert hand.tuned == {"left": HandTunedLeg(hold=0.5)}
    changed = ByHand(landmarks={"left.heel": (0.1, 0.0, 0.0)}, tuned=hand.tuned)
    write_rig_file(
        description.model_copy(
            update={
                "by_hand": changed,
                "measured": {"left.tip": (0.0, 0.0, 0.1)},
                "tuned": {"right": TunedLeg(hold=1.0)},
            }
        ),
        path,
    )
    written = path.read_text(encoding="utf-8")
    assert read_rig_file(path).by_hand == changed
    assert written.endswith("\n[by_hand.tuned.left]\nhold = 0.5  # by eye\n")
    assert '-0.06]\n"left.heel" = [0.1, 0.0, 0.0]\n\n[by_hand.tuned]' in written
