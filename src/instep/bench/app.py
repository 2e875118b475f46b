"""The server: what it serves, to whom, and how it talks with the page.

Only this machine is served. Every address begins with a token that only this user has and that stands in the link
that is opened; the Host and the Origin must be this server's own. It serves the page's own files and data made from
the opened project: no path of the disk can be asked for.
"""

from __future__ import annotations

import asyncio
import hmac
import traceback
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Final

import anyio.to_thread
from pydantic import ValidationError
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.types import ASGIApp, Receive, Scope, Send
from starlette.websockets import WebSocket, WebSocketDisconnect

from instep.bench import messages as m
from instep.bench.figure import mesh_bytes, rig_info
from instep.bench.project import Project, open_project
from instep.bench.proving import run
from instep.delivery.job import RIG_FILE
from instep.errors import FormatError, InstepError, RigFileError
from instep.rig.emitters.javascript import write_javascript

PAGE: Final = Path(__file__).parent / "page"

WATCH_S: Final = 0.5
"""Seconds between two looks at the rig file: a person who saves in an editor sees it at once."""

LARGEST: Final = 2**22
"""Bytes of one message from the page: a score of an hour has a tenth of that."""

KINDS: Final = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".woff2": "font/woff2",
    ".svg": "image/svg+xml",
}
"""Of the page's own files; there are no others."""

POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self' 'unsafe-inline'",
        "font-src 'self'",
        "img-src 'self' data: blob:",
        "connect-src 'self'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
)
"""What the page may load, from where: its own server and nothing else."""

HEADERS: Final = (
    ("content-security-policy", POLICY),
    ("referrer-policy", "no-referrer"),
    ("x-content-type-options", "nosniff"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cache-control", "no-store"),
)


@dataclass(eq=False)
class Bench:
    """What is open, and who looks at it.

    Attributes
    ----------
    folder : whose characters and rig files can be opened from the page.
    project : the open one, if any.
    windows : pages that are connected.
    """

    folder: Path
    project: Project | None = None
    windows: set[WebSocket] = field(default_factory=set)
    lock: asyncio.Lock = field(default_factory=asyncio.Lock)
    proving: asyncio.Task[None] | None = None

    def files(self) -> tuple[str, ...]:
        """Names in the folder that can be opened: rig files, and characters that have none."""
        rigs = sorted(path.name for path in self.folder.glob(f"*{RIG_FILE}"))
        have = {name.removesuffix(RIG_FILE) for name in rigs}
        models = sorted(path for kind in ("*.glb", "*.gltf") for path in self.folder.glob(kind))
        return (*rigs, *(path.name for path in models if path.stem not in have))

    def open(self, name: str) -> Project:
        """Open one of `files`. Raises FormatError for another name, else as `open_project`."""
        if name not in self.files():
            raise FormatError(
                f'there is no character or rig file "{name}" here',
                where=self.folder.name,
                cure="Choose one of those that are listed",
            )
        return open_project(self.folder / name)

    def state(self) -> m.State:
        """The project's state; without one, only what could be opened."""
        if self.project is not None:
            return self.project.state(self.files())
        nothing = tuple(
            m.StepState(name=name, state="not yet", words="wants a character first")
            for name in ("measure", "build", "pose", "prove", "move", "hand over")
        )
        return m.State(
            revision=0, character="", rig_file="", written_at="", rig_revision=0, files=self.files(), steps=nothing,
            controls="essential", plain=True, options={}, pose={}, poses={}, undo="", undo_count=0, redo="", by_hand=(),
            outside=None, proof=None, score=None, footfalls=(), exercises=(), handed_over=(),
        )  # fmt: skip

    async def tell_all(self) -> None:
        """Send the state to every window; those that are gone are forgotten."""
        await self._send(self.state().model_dump_json())

    async def _send(self, text: str) -> None:
        for window in tuple(self.windows):
            try:
                await window.send_text(text)
            except (RuntimeError, WebSocketDisconnect):
                self.windows.discard(window)

    async def answer(self, ask: m.Ask) -> m.Done | m.Fault:
        """Carry out what a page asks for, one at a time, and tell all windows."""
        try:
            async with self.lock:
                if isinstance(ask, m.Open):
                    await self._stop_proving()
                    self.project = await anyio.to_thread.run_sync(self.open, ask.name)
                    told: tuple[str, ...] = ()
                elif self.project is None:
                    raise FormatError("no character is open", cure="Open one first")
                elif isinstance(ask, m.Prove):
                    await self._stop_proving()
                    self.proving = asyncio.create_task(self._prove(self.project, ask.only))
                    told = ()
                else:
                    told = await anyio.to_thread.run_sync(self.project.do, ask)
        except InstepError as error:
            await self.tell_all()
            return _fault(ask.ask, error)
        except Exception as error:  # a fault of the bench's own: told here and in the terminal, and the line stays up
            traceback.print_exc()
            await self.tell_all()
            return m.Fault(
                ask=ask.ask,
                seen=f"this failed in the bench itself ({type(error).__name__}: {error})",
                where="",
                expected="",
                cure="Report it, with what the terminal says; what was asked for may not have been done",
            )
        await self.tell_all()
        return m.Done(ask=ask.ask, told=told)

    async def _prove(self, project: Project, only: tuple[str, ...]) -> None:
        """Run the checks in a thread of their own; what is looked at is told as it goes on."""
        rig, revision, loop = project.rig, project.rig_revision, asyncio.get_running_loop()
        project.take_report(None, revision, "the first check")

        def heard(check: str) -> None:
            loop.call_soon_threadsafe(said.put_nowait, check)

        said: asyncio.Queue[str] = asyncio.Queue()
        work = asyncio.ensure_future(anyio.to_thread.run_sync(partial(run, rig, only, heard)))
        try:
            while not work.done():
                await self.tell_all()
                waiting = asyncio.ensure_future(said.get())
                await asyncio.wait({work, waiting}, return_when=asyncio.FIRST_COMPLETED)
                if waiting.done():
                    project.take_report(None, revision, waiting.result())
                else:
                    waiting.cancel()
            project.take_report(work.result(), revision, "")
        except InstepError as error:
            await self._send(_fault(0, error).model_dump_json())
        finally:
            if project.proof is not None and project.proof.running:
                project.take_report(None, revision, "")
            await self.tell_all()

    async def _stop_proving(self) -> None:
        if self.proving is not None and not self.proving.done():
            self.proving.cancel()
            await asyncio.wait({self.proving})

    async def watch(self) -> None:
        """Look at the rig file again and again, and tell when another program has changed it."""
        while True:
            await asyncio.sleep(WATCH_S)
            async with self.lock:
                changed = self.project is not None and await anyio.to_thread.run_sync(self.project.look_outside)
            if changed:
                await self.tell_all()


class OnlyOurs:
    """Lets through what comes with the token, from this server's own pages, and nothing else."""

    def __init__(self, app: ASGIApp, token: str, hosts: Callable[[], tuple[str, ...]]) -> None:
        self.app, self.token, self.hosts = app, token, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        why = self._refused(scope)
        if why is None:
            await self.app({**scope, "path": scope["path"][len(self.token) + 1 :] or "/"}, receive, send)
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008, "reason": why})
        else:
            await PlainTextResponse(why + "\n", 403, dict(HEADERS))(scope, receive, send)

    def _refused(self, scope: Scope) -> str | None:
        headers = {key.decode("latin-1").lower(): value.decode("latin-1") for key, value in scope["headers"]}
        hosts = self.hosts()
        if headers.get("host") not in hosts:
            return "Refused: this address is not the bench's own."
        origin = headers.get("origin")
        if origin is None and scope["type"] == "websocket":
            return "Refused: only the bench's own page may connect."
        if origin is not None and origin not in {f"http://{host}" for host in hosts}:
            return "Refused: only the bench's own page may connect."
        first = scope["path"].removeprefix("/").partition("/")[0]
        if not hmac.compare_digest(first.encode(), self.token.encode()):
            return "Refused: the link's token is missing or old. Open the link that instep bench printed."
        return None


def make_app(bench: Bench, token: str, hosts: Callable[[], tuple[str, ...]]) -> Starlette:
    """The application. `hosts` are the Host headers that are this server's own, known once its port is."""

    def reply(content: bytes, kind: str) -> Response:
        return Response(content, media_type=kind, headers=dict(HEADERS))

    def opened() -> Project:
        if bench.project is None:
            raise RigFileError("no character is open")
        return bench.project

    async def page_file(request: Request) -> Response:
        name = request.path_params.get("name") or "index.html"
        path = PAGE / name if "\0" in name else (PAGE / name).resolve()
        if "\0" in name or not path.is_relative_to(PAGE.resolve()) or path.suffix not in KINDS or not path.is_file():
            return PlainTextResponse("There is no such file.\n", 404, dict(HEADERS))
        return FileResponse(path, media_type=KINDS[path.suffix], headers=dict(HEADERS))

    async def rig(request: Request) -> Response:
        project = opened()
        unaided = await anyio.to_thread.run_sync(project.unaided)
        info = await anyio.to_thread.run_sync(rig_info, project.rig, unaided, project.rig_revision, id(project))
        return reply(info.model_dump_json().encode(), "application/json")

    async def mesh(request: Request) -> Response:
        content = await anyio.to_thread.run_sync(mesh_bytes, opened().rig.character)
        return reply(content, "application/octet-stream")

    async def program(request: Request) -> Response:
        of = request.path_params["of"]
        project = opened()
        if request.path_params["revision"] != project.rig_revision:
            raise RigFileError("the rig has been built anew", cure="Ask for the newest revision")
        made = project.rig
        text = write_javascript(made.program if of == "rig" else made.control_frames)
        return reply(text.encode(), KINDS[".js"])

    async def talk(window: WebSocket) -> None:
        await window.accept()
        bench.windows.add(window)
        try:
            await window.send_text(bench.state().model_dump_json())
            while True:
                text = await window.receive_text()
                await window.send_text((await _heard(bench, text)).model_dump_json())
        except (WebSocketDisconnect, RuntimeError):
            pass  # the page was closed, or its network went: it comes back by itself
        finally:
            bench.windows.discard(window)

    async def refused(request: Request, error: Exception) -> Response:
        return JSONResponse({"seen": str(error)}, 409, dict(HEADERS))

    @asynccontextmanager
    async def alive(app: Starlette) -> AsyncIterator[None]:
        watching = asyncio.create_task(bench.watch())
        try:
            yield
        finally:
            watching.cancel()
            await bench._stop_proving()

    handlers: dict[type[Exception], Callable[[Request, Exception], Awaitable[Response]]] = {InstepError: refused}
    return Starlette(
        routes=[
            Route("/data/rig.json", rig),
            Route("/data/mesh.bin", mesh),
            Route("/data/{of:str}-{revision:int}.js", program),
            WebSocketRoute("/talk", talk),
            Route("/", page_file),
            Route("/{name:path}", page_file),
        ],
        middleware=[Middleware(OnlyOurs, token=token, hosts=hosts)],
        exception_handlers=handlers,
        lifespan=alive,
    )


def _fault(ask: int, error: InstepError) -> m.Fault:
    return m.Fault(ask=ask, seen=error.seen, where=error.where, expected=error.expected, cure=error.cure)


async def _heard(bench: Bench, text: str) -> m.Done | m.Fault:
    try:
        if len(text) > LARGEST:
            raise ValueError("it is too long")
        ask = m.ASK.validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(part) for part in first["loc"])
        return m.Fault(
            ask=0, seen=f"this is no message of the bench: {first['msg']}", where=place, expected="", cure=""
        )
    except ValueError as error:
        return m.Fault(ask=0, seen=f"this is no message of the bench: {error}", where="", expected="", cure="")
    return await bench.answer(ask)
