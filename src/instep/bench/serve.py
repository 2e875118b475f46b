"""Starting the bench: a port of this machine, a token, the link."""

from __future__ import annotations

import asyncio
import hashlib
import json
import os
import secrets
import socket
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Final

import uvicorn

from instep.bench.app import LARGEST, PAGE, Bench, make_app
from instep.bench.project import open_project
from instep.delivery.job import is_rig_file
from instep.errors import FormatError, OutputError

HOST: Final = "127.0.0.1"
"""The loopback address: no other machine can reach it."""


def prepare(path: Path) -> Bench:
    """The bench of a character, a rig file or a folder; a folder with one file in it opens that.

    Raises InstepError as opening does, and FormatError where there is nothing to open, or the page was not built.
    """
    if not (PAGE / "index.html").is_file():
        raise FormatError(
            "the bench's page has not been built",
            expected="the files that the package's build makes",
            cure="Run scripts/setup in the project, or install the package anew",
        )
    if path.is_dir():
        bench = Bench(path.resolve())
        files = bench.files()
        if not files:
            raise FormatError(
                "there is no character and no rig file in this folder",
                where=str(path),
                expected="a .glb, .gltf or .rig.toml file",
            )
        if len(files) == 1:
            bench.project = bench.open(files[0])
        return bench
    if not is_rig_file(path) and not path.is_file():
        raise FormatError("there is no such file", where=str(path), cure="Check the name and the folder")
    path = path.resolve()
    return Bench(path.parent, open_project(path))


def remembered(path: Path) -> tuple[int, str]:
    """The port and token of the last start on this path, or a free port and a new token.

    They are kept for this user alone, in the state folder of the system, so that a page that is still open finds the
    bench again when it is started anew. What cannot be kept is made new at the next start.
    """
    port, token = 0, secrets.token_urlsafe(24)
    place = _place(path)
    try:
        kept = json.loads(place.read_text(encoding="utf-8"))
        port, token = int(kept["port"]), str(kept["token"])
    except (OSError, ValueError, KeyError, TypeError):
        return 0, token
    return (port, token) if 0 < port < 65536 and len(token) >= 32 else (0, secrets.token_urlsafe(24))


def remember(path: Path, port: int, token: str) -> None:
    """Keep port and token for the next start on this path."""
    place = _place(path)
    with suppress(OSError):  # a state folder that cannot be written costs only that an open page must be opened anew
        place.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        part = place.with_suffix(f".{os.getpid()}.part")
        with open(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
            json.dump({"port": port, "token": token}, file)
        os.replace(part, place)


def _place(path: Path) -> Path:
    state = Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state")
    digest = hashlib.sha256(str(path.resolve()).encode()).hexdigest()[:16]
    return state / "instep" / f"bench-{digest}.json"


def is_free(port: int) -> bool:
    """Whether a port of this machine can be had."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((HOST, port))
        except OSError:
            return False
    return True


def serve(bench: Bench, *, port: int = 0, ready: Callable[[str], None], token: str | None = None) -> None:
    """Serve until the process is interrupted. `ready` is told the link once it can be opened.

    `port` 0 takes one that is free; `token` is made anew where none is given. Raises OutputError where the port is
    taken.
    """
    token = token or secrets.token_urlsafe(24)
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((HOST, port))
    except OSError as error:
        listening.close()
        raise OutputError(
            f"port {port} cannot be used ({error.strerror})",
            expected="a port that no other program has",
            cure="Choose another with --port, or leave it out",
        ) from error
    with listening:
        number = listening.getsockname()[1]
        hosts = (f"{HOST}:{number}", f"localhost:{number}")
        config = uvicorn.Config(
            make_app(bench, token, lambda: hosts),
            log_level="critical",
            access_log=False,
            lifespan="on",
            ws="websockets-sansio",
            ws_max_size=2 * LARGEST,
            timeout_graceful_shutdown=1,
            server_header=False,
        )
        server = uvicorn.Server(config)

        async def run() -> None:
            task = asyncio.create_task(server.serve(sockets=[listening]))
            while not server.started and not task.done():
                await asyncio.sleep(0.01)
            if server.started:
                ready(f"http://{HOST}:{number}/{token}/")
            await task

        asyncio.run(run())
