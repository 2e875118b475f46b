"""The server: who is let in, what is served, and what happens to a process that is killed."""

from __future__ import annotations

import http.client
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import ClientConnection, connect

from instep.bench.figure import TOUCHES
from instep.bench.serve import HOST, is_free, prepare, remember, remembered, serve
from instep.errors import FormatError, OutputError
from tests.bench.served import TOKEN, Server, biped_in, serving
from tests.node import run_node


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with serving(biped_in(tmp_path_factory.mktemp("bench"))) as running:
        yield running


def _get(server: Server, path: str, headers: dict[str, str] | None = None) -> tuple[int, bytes, dict[str, str]]:
    line = http.client.HTTPConnection(HOST, server.port, timeout=30)
    try:
        line.request("GET", path, headers=headers or {})
        answer = line.getresponse()
        return answer.status, answer.read(), {key.lower(): value for key, value in answer.getheaders()}
    finally:
        line.close()


def _talk(server: Server, token: str = TOKEN, origin: str | None = "own") -> ClientConnection:
    own = f"http://{HOST}:{server.port}"
    address = f"ws://{HOST}:{server.port}/{token}/talk"
    return connect(address, origin=own if origin == "own" else origin, open_timeout=30, max_size=None)  # type: ignore[arg-type]


def _ask(line: ClientConnection, wish: dict[str, Any]) -> dict[str, Any]:
    line.send(json.dumps(wish))
    while True:
        told: dict[str, Any] = json.loads(line.recv(timeout=60))
        if told["kind"] != "state":
            return told


def test_the_page_comes_with_a_policy_that_keeps_it_to_this_server(server: Server) -> None:
    status, body, headers = _get(server, f"/{TOKEN}/")
    assert status == 200
    assert b"<title>Instep: the bench</title>" in body
    assert b"http" not in body.replace(b"http://www.w3.org/2000/svg", b"")
    assert headers["content-security-policy"].startswith("default-src 'none'; script-src 'self';")
    assert headers["referrer-policy"] == "no-referrer"


@pytest.mark.parametrize("path", ["/", "/wrong/", f"/{TOKEN[:-1]}/", f"/{TOKEN}x/data/rig.json", "/data/rig.json"])
def test_without_the_token_nothing_is_served(path: str, server: Server) -> None:
    status, body, _ = _get(server, path)
    assert status == 403
    assert body == b"Refused: the link's token is missing or old. Open the link that instep bench printed.\n"


@pytest.mark.parametrize("host", ["example.invalid", "example.invalid:80", "127.0.0.1"])
def test_another_host_is_refused(host: str, server: Server) -> None:
    status, body, _ = _get(server, f"/{TOKEN}/", {"Host": host})
    assert (status, body) == (403, b"Refused: this address is not the bench's own.\n")


def test_a_page_of_another_origin_is_refused(server: Server) -> None:
    status, body, _ = _get(server, f"/{TOKEN}/data/rig.json", {"Origin": "http://example.invalid"})
    assert (status, body) == (403, b"Refused: only the bench's own page may connect.\n")
    for origin in ("http://example.invalid", f"http://{HOST}:1", "null", None):
        with pytest.raises((InvalidStatus, ConnectionClosed)), _talk(server, origin=origin) as line:
            line.recv(timeout=10)
    with pytest.raises((InvalidStatus, ConnectionClosed)), _talk(server, token="wrong") as line:
        line.recv(timeout=10)


@pytest.mark.parametrize(
    "path",
    [
        "/../app.py",
        "/..%2fapp.py",
        "/%2e%2e/%2e%2e/cli/bench.py",
        "/assets/../../serve.py",
        "//etc/passwd",
        "/%2fetc%2fpasswd",
        "/assets",
        "/biped.glb",
        "/index.html%00.js",
    ],
)
def test_a_path_that_escapes_is_refused(path: str, server: Server) -> None:
    status, body, _ = _get(server, f"/{TOKEN}{path}")
    assert (status, body) == (404, b"There is no such file.\n")


def test_messages_of_no_kind_are_refused_and_the_line_stays(server: Server) -> None:
    with _talk(server) as line:
        state = json.loads(line.recv(timeout=30))
        assert (state["kind"], state["character"]) == ("state", "biped")
        for text in ("", "[]", '{"kind":"fly"}', '{"kind":"undo","ask":1,"more":2}', '{"kind":"set_pose","what":"x"}'):
            line.send(text)
            told = json.loads(line.recv(timeout=30))
            assert told["kind"] == "fault"
            assert told["seen"].startswith("this is no message of the bench: ")
        assert _ask(line, {"kind": "undo", "ask": 7, "again": False}) == {
            "kind": "done",
            "ask": 7,
            "told": ["Nothing to undo."],
        }


def test_what_is_fetched_is_the_rig(server: Server, tmp_path: Path) -> None:
    info = json.loads(_get(server, f"/{TOKEN}/data/rig.json")[1])
    mesh = _get(server, f"/{TOKEN}/data/mesh.bin")[1]
    count, faces, influences = np.frombuffer(mesh, "<u4", 3)
    assert influences == 4
    assert len(mesh) == 12 + count * 24 + faces * 12 + count * influences * 6
    normals = np.frombuffer(mesh, "<f4", 3 * count, 12 + 12 * int(count)).reshape(-1, 3)
    np.testing.assert_allclose(np.linalg.norm(normals, axis=1), 1.0, atol=1e-5)
    weights = np.frombuffer(mesh, "<f4", influences * count, len(mesh) - 4 * int(influences * count))
    np.testing.assert_allclose(weights.reshape(-1, influences).sum(axis=1), 1.0, atol=1e-6)
    assert info["touches"] == pytest.approx(TOUCHES * info["legs"][0]["foot_length"], rel=1e-3)
    status, text, headers = _get(server, f"/{TOKEN}/data/rig-{info['rig_revision']}.js")
    assert status == 200
    assert headers["content-type"].startswith("text/javascript")
    (tmp_path / "rig.mjs").write_bytes(text)
    script = tmp_path / "run.mjs"
    script.write_text(
        'import { channels, outputs, evaluate } from "./rig.mjs";'
        "const o = new Float64Array(outputs.length); evaluate(new Float64Array(channels.length).fill(0.5), o);"
        "console.log(channels.length, o.every(Number.isFinite));"
    )
    assert run_node(script).split() == [str(len(info["channels"])), "true"]
    assert _get(server, f"/{TOKEN}/data/rig-{info['rig_revision'] + 1}.js")[0] == 409


def test_two_windows_agree_and_a_killed_server_has_lost_nothing(tmp_path: Path) -> None:
    path = biped_in(tmp_path)
    with serving(path) as first:
        with _talk(first) as one, _talk(first) as two:
            one.recv(timeout=30)
            two.recv(timeout=30)
            pose = {"left.foot.roll": 35.0}
            assert _ask(one, {"kind": "set_pose", "ask": 1, "what": "roll", "pose": pose})["kind"] == "done"
            assert json.loads(two.recv(timeout=30))["pose"] == pose
            assert _ask(two, {"kind": "keep_pose", "ask": 1, "name": "over the ball"})["kind"] == "done"
            told = _ask(two, {"kind": "set_tuned", "ask": 2, "leg": "left", "number": "hold", "value": 0.5})
            assert told["kind"] == "done"
        first.kill()
    with serving(path) as second, _talk(second) as line:
        state = json.loads(line.recv(timeout=30))
        assert state["pose"] == pose
        assert state["poses"] == {"over the ball": pose}
        assert state["undo_count"] == 3
        assert "\n[by_hand.tuned.left]" in (tmp_path / "biped.rig.toml").read_text()
        for ask in (1, 2, 3):
            assert _ask(line, {"kind": "undo", "ask": ask, "again": False})["kind"] == "done"
        assert "\n[by_hand.tuned.left]" not in (tmp_path / "biped.rig.toml").read_text()


def test_a_folder_lists_its_characters_and_one_of_them_is_opened(tmp_path: Path) -> None:
    biped_in(tmp_path)
    (tmp_path / "second.glb").write_bytes((tmp_path / "biped.glb").read_bytes())
    with serving(tmp_path) as running, _talk(running) as line:
        state = json.loads(line.recv(timeout=30))
        assert (state["rig_file"], state["files"]) == ("", ["biped.glb", "second.glb"])
        told = _ask(line, {"kind": "set_pose", "ask": 1, "what": "x", "pose": {}})
        assert told["seen"] == "no character is open"
        assert _ask(line, {"kind": "open", "ask": 2, "name": "../biped.glb"})["seen"] == (
            'there is no character or rig file "../biped.glb" here'
        )
        assert _ask(line, {"kind": "open", "ask": 3, "name": "second.glb"})["kind"] == "done"
    assert (tmp_path / "second.rig.toml").exists()


def test_what_cannot_be_opened_is_told(tmp_path: Path) -> None:
    with pytest.raises(FormatError) as caught:
        prepare(tmp_path)
    assert str(caught.value) == (
        f"{tmp_path}: there is no character and no rig file in this folder; expected a .glb, .gltf or .rig.toml file."
    )
    with pytest.raises(FormatError) as caught:
        prepare(tmp_path / "none.glb")
    assert str(caught.value) == f"{tmp_path / 'none.glb'}: there is no such file. Check the name and the folder."


def test_a_port_that_is_taken_is_told(server: Server, tmp_path: Path) -> None:
    assert not is_free(server.port)
    with pytest.raises(OutputError) as caught:
        serve(prepare(biped_in(tmp_path)), port=server.port, ready=lambda link: None)
    assert str(caught.value) == (
        f"port {server.port} cannot be used (Address already in use); expected a port that no other program has. "
        "Choose another with --port, or leave it out."
    )


def test_the_link_is_remembered_for_this_user_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    port, token = remembered(tmp_path / "grub.glb")
    assert port == 0
    assert len(token) >= 32
    assert remembered(tmp_path / "grub.glb")[1] != token
    remember(tmp_path / "grub.glb", 4321, token)
    assert remembered(tmp_path / "grub.glb") == (4321, token)
    assert remembered(tmp_path / "other.glb")[1] != token
    (kept,) = (tmp_path / "state" / "instep").iterdir()
    assert kept.stat().st_mode & 0o077 == 0
    kept.write_text("[]")
    assert remembered(tmp_path / "grub.glb")[0] == 0
