"""The server's few addresses: the page, its files, what the page has to know, and the websocket."""
from __future__ import annotations

import asyncio
import contextlib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from experiments.bench.answers.turned import warm
from experiments.bench.server.aside import Asides
from experiments.bench.server.door import REFUSED, App, Door
from experiments.bench.server.session import Session, TooMany
from experiments.bench.setup import Setup
from experiments.bench.wire import Answer
from experiments.bench.words import known
from plant.errors import InputError

PAGE = Path(__file__).resolve().parents[1] / "page"
TYPES = {".js": "text/javascript", ".css": "text/css", ".html": "text/html", ".txt": "text/plain"}
MOST_TABS = 8
MOST_BYTES = 20_000  # of a message of the page


def files() -> dict[str, Path]:
    """Every file of the page by its address; nothing else can be had."""
    return {f"/page/{path.relative_to(PAGE).as_posix()}": path for path in sorted(PAGE.rglob("*"))
            if path.suffix in TYPES and path.name != "index.html"}


class BenchServer:
    """The app with what it works with."""

    def __init__(self, setup: Setup, key: str, port: int) -> None:
        self._setup = setup
        self._executor = ThreadPoolExecutor(1, "bench")
        self._aside = Asides(setup)
        self._sessions: set[Session] = set()
        self._trouble = ""
        self._warmed = asyncio.Event()
        routes = [Route("/", self._page), WebSocketRoute("/live", self._live)]
        routes += [Route(address, self._file) for address in files()]
        self._files = files()
        self.app: App = Door(Starlette(routes=routes), key, port)

    async def warm_up(self) -> None:
        """Load or compile what the first rig needs; the page is there meanwhile and says so."""
        loop = asyncio.get_running_loop()
        try:
            await loop.run_in_executor(self._executor, warm, self._setup, self._setup.rigs[0])
        except InputError as error:
            self._trouble = str(error)
        self._warmed.set()
        for session in self._sessions:
            session.say(self._state())

    def close(self) -> None:
        """End the processes aside."""
        self._aside.close()
        self._executor.shutdown(wait=False, cancel_futures=True)

    def _state(self) -> Answer:
        return Answer({"slot": "state", "ready": self._warmed.is_set(), "trouble": self._trouble})

    async def _page(self, request: Request) -> Response:
        return Response((PAGE / "index.html").read_bytes(), media_type="text/html")

    async def _file(self, request: Request) -> Response:
        path = self._files.get(request.url.path)
        if path is None:
            return PlainTextResponse("no such file\n", 404)
        return Response(path.read_bytes(), media_type=TYPES[path.suffix])

    async def _live(self, socket: WebSocket) -> None:
        if len(self._sessions) >= MOST_TABS:
            await socket.close(REFUSED, f"at most {MOST_TABS} tabs")
            return
        await socket.accept()

        async def sending(message: bytes) -> None:
            with contextlib.suppress(WebSocketDisconnect, RuntimeError):  # the tab has gone meanwhile
                await socket.send_bytes(message)

        session = Session(self._setup, sending, self._aside, self._executor)
        self._sessions.add(session)
        session.say(Answer({"slot": "known", **known(self._setup)}))
        session.say(self._state())
        worker = asyncio.create_task(session.answer_all())
        try:
            await self._receive(socket, session)
        finally:
            worker.cancel()
            session.close()
            self._sessions.discard(session)

    async def _receive(self, socket: WebSocket, session: Session) -> None:
        try:
            while True:
                message: Any = await socket.receive()
                if message["type"] == "websocket.disconnect":
                    return
                text = message.get("text")
                session.receive(text if isinstance(text, str) and len(text) <= MOST_BYTES else "")
        except WebSocketDisconnect:
            return
        except TooMany:
            await socket.close(REFUSED, "too many messages")
