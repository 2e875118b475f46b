"""The bench on the cast: Grub, whose feet are lumpy, on the real page."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from examples.salt_ferry import CAST
from instep.formats import write_character
from instep.rig.file import load_rig
from tests.bench.served import LEFT_OUTLINE, browsing, drag, on_stage, open_bench, pose_of, serving, settled


def test_grub_is_opened_dragged_and_drawn(chromium: Path, tmp_path: Path) -> None:
    member = CAST["grub"](detail=0.3)
    write_character(member.character, tmp_path / "grub.glb", colours=member.colours)
    with serving(tmp_path / "grub.glb") as server, browsing(chromium) as context:
        page = open_bench(context, server.link)
        drag(page, on_stage(page, LEFT_OUTLINE), (30.0, -12.0))
        settled(page)
        pose = pose_of(page)
        assert set(pose) == {"left.foot.across", "left.foot.along"}
        rig = load_rig(tmp_path / "grub.rig.toml")
        shown = page.evaluate("instep.bench.rig.jointPositions(instep.bench.values)")
        wanted = rig.pose(pose).position[0]
        found = np.array([shown[name] for name in rig.character.skeleton.names])
        assert np.abs(found - wanted).max() < 1e-6 * rig.plan.unit
        # The map is that of the skinned mesh: its lowest place on the right foot touches the floor.
        reading = page.evaluate("instep.soleState.soles.find((sole) => sole.leg.side === 'right').reading()")
        assert abs(reading["deepest"]) < 5e-3 * rig.measurement.legs[1].foot_length
        # There is ink on the stage: much of the canvas is covered, and some of it is dark.
        share = page.evaluate(
            """(() => {
              const canvas = document.querySelector(".stage canvas");
              const copy = document.createElement("canvas");
              [copy.width, copy.height] = [canvas.width, canvas.height];
              const g = copy.getContext("2d");
              g.drawImage(canvas, 0, 0);
              const data = g.getImageData(0, 0, copy.width, copy.height).data;
              let body = 0, ink = 0;
              for (let i = 0; i < data.length; i += 4) {
                if (data[i + 3] > 200) { body++; if (data[i] < 90) ink++; }
              }
              return [body / (data.length / 4), ink / body];
            })()"""
        )
        assert 0.15 < share[0] < 0.9
        assert 0.005 < share[1] < 0.25
