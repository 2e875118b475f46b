"""The whole job leaves all of its files or none."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest

from instep.checks import CHECKS, run_checks
from instep.delivery import job
from instep.delivery.job import rig_job, write_proof_page
from instep.delivery.proof.words import summary
from instep.errors import OutputError
from instep.formats import write_character
from instep.rig.description import ByHand
from instep.rig.file import load_rig, read_rig_file, write_rig_file
from tests.biped import make_biped


def _biped(folder: Path) -> Path:
    write_character(make_biped(), folder / "biped.glb")
    return folder / "biped.glb"


@pytest.mark.parametrize("kind", [OSError, KeyboardInterrupt])
def test_a_job_that_fails_at_its_end_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: type[BaseException]
) -> None:
    def fail(content: object, path: Path) -> None:
        path.write_text("half a page")
        if kind is OSError:
            raise OutputError("it cannot be written (No space left on device)", where=str(path))
        raise kind

    model = _biped(tmp_path)
    monkeypatch.setattr(job, "write_sheet", fail)
    with pytest.raises(OutputError if kind is OSError else kind) as caught:
        rig_job(model, tmp_path / "new" / "out", proof=False)
    assert list(tmp_path.iterdir()) == [model]
    if kind is OSError:
        page = tmp_path / "new" / "out" / "biped.html"
        assert str(caught.value) == f"{page}: it cannot be written (No space left on device)."


def test_a_job_that_fails_keeps_what_an_earlier_one_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*arguments: object) -> None:
        raise KeyboardInterrupt

    out = tmp_path / "out"
    out.mkdir()
    for name in ("biped.glb", "biped.html", "biped.rig.json"):
        (out / name).write_text(f"an earlier {name}")
    before = {path.name: path.read_text() for path in out.iterdir()}
    monkeypatch.setattr(job, "write_clips", fail)
    with pytest.raises(KeyboardInterrupt):
        rig_job(_biped(tmp_path), out)
    assert {path.name: path.read_text() for path in out.iterdir()} == before


def test_the_rig_file_says_what_was_built(tmp_path: Path) -> None:
    steps: list[str] = []
    first = rig_job(_biped(tmp_path), tmp_path / "out", today=date(2026, 2, 3), progress=steps.append)
    assert steps == [
        "reading", "measuring", "building", "solving", "exercising", *(f"proving {name}" for name in CHECKS), "drawing",
    ]  # fmt: skip
    assert first.proof is not None
    assert [finding.check for finding in first.proof.findings] == list(CHECKS)
    assert summary(first.proof) in first.sheet.read_text(encoding="utf-8")
    assert "3 February 2026" in first.sheet.read_text(encoding="utf-8")
    description = read_rig_file(first.rig_file)
    assert description == first.rig.description
    assert {leg: tuned.hold for leg, tuned in description.tuned.items()} == {
        leg: fit.hold for leg, fit in first.fits.items()
    }
    unit = first.rig.measurement.leg_length
    for leg in first.rig.measurement.legs:
        for name, landmark in leg.landmarks.items():
            written = np.array(description.measured[f"{leg.name}.{name}"])
            assert np.abs(written - landmark.position).max() < 1e-6 * unit
    loaded = load_rig(first.rig_file)
    assert loaded.channels == first.rig.channels
    assert loaded.program == first.rig.program


def test_what_is_set_by_hand_is_used_and_not_told_as_measured(tmp_path: Path) -> None:
    first = rig_job(_biped(tmp_path), tmp_path / "out", proof=False)
    description = read_rig_file(first.rig_file)
    hand = ByHand(landmarks={"left.heel": (0.1, 0.0, -0.05)}, ranges={"left.foot.roll": (-10.0, 70.0)})
    write_rig_file(description.model_copy(update={"by_hand": hand}), first.rig_file)
    second = rig_job(first.rig_file, tmp_path / "out", proof=False)
    assert second.kept
    assert second.proof is None
    assert "Proofs" not in second.sheet.read_text(encoding="utf-8")
    assert second.rig.measurement.legs[0].heel.position.tolist() == [0.1, 0.0, -0.05]
    again = read_rig_file(first.rig_file)
    assert again.by_hand == hand
    assert "left.heel" not in again.measured
    assert "right.heel" in again.measured
    roll = next(channel for channel in second.rig.channels if channel.name == "left.foot.roll")
    assert (roll.low, roll.high) == (-10.0, 70.0)


def test_a_rig_file_moved_to_another_folder_still_finds_its_character(tmp_path: Path) -> None:
    (tmp_path / "models").mkdir()
    first = rig_job(_biped(tmp_path / "models"), tmp_path / "out", proof=False)
    text = first.rig_file.read_text(encoding="utf-8").replace("# path of the model", "# our model: path")
    first.rig_file.write_text(text, encoding="utf-8")
    second = rig_job(first.rig_file, tmp_path / "deep" / "er", proof=False)
    assert second.rig.description.character == "../../models/biped.glb"
    assert "# our model: path" in second.rig_file.read_text(encoding="utf-8")
    assert load_rig(second.rig_file).program == load_rig(first.rig_file).program


def test_a_proof_page_is_the_sheet_with_the_report(tmp_path: Path) -> None:
    first = rig_job(_biped(tmp_path), tmp_path / "out", proof=False)
    rig = load_rig(first.rig_file)
    report = run_checks(rig, only=["rest", "floor"])
    write_proof_page(rig, report, first.sheet, today=date(2026, 2, 3))
    page = first.sheet.read_text(encoding="utf-8")
    assert summary(report) in page
    assert "biped.rig.toml" in page
    assert 'id="proof-rest"' in page
    assert 'id="proof-floor"' in page
    assert 'id="proof-reach"' not in page
    with pytest.raises(OutputError) as caught:
        write_proof_page(rig, report, tmp_path / "none" / "biped.html")
    assert str(caught.value) == (
        f"{tmp_path / 'none' / 'biped.html'}: the page cannot be written (No such file or directory); "
        "expected a file in a folder that exists and may be written to. Give another place for it."
    )
