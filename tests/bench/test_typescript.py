"""The page's types are those of the messages."""

from __future__ import annotations

from pathlib import Path

import pytest

from instep.bench.typescript import main, write_typescript


def test_the_pages_types_have_not_drifted(project: Path) -> None:
    assert (project / "web/src/messages.ts").read_text(encoding="utf-8") == write_typescript()


def test_drift_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "messages.ts"
    assert main([str(path), "--check"]) == 1
    assert capsys.readouterr().err == (
        f"{path} is not what the messages say. Run: python -m instep.bench.typescript {path}\n"
    )
    assert main([str(path)]) == 0
    assert main([str(path), "--check"]) == 0
    path.write_text(path.read_text().replace("string", "number", 1))
    assert main([str(path), "--check"]) == 1
    assert main([]) == 2


def test_unions_lists_and_tuples_are_written_as_typescript_has_them() -> None:
    text = write_typescript()
    assert 'export interface SetLandmark {\n  kind: "set_landmark";\n  ask: number;\n  name: string;\n' in text
    assert "  point: [number, number, number] | null;" in text
    assert "  keys: Record<string, Key[]>;" in text
    assert '  number: "hold" | "ball_gives_out_deg" | "tip_takes_over_deg";' in text
