"""Starting a bench: a socket on loopback, the server on it, a browser in front of it."""
from __future__ import annotations

import asyncio
import socket
import sys
import webbrowser
from typing import Any

from experiments.bench.server.key import key
from experiments.bench.setup import Setup
from experiments.bench.words import known
from plant.errors import InputError

USUAL_PORT = 8417  # taken when it is free, so that an open tab finds the next bench
NEEDED = "the bench needs Starlette, uvicorn and websockets: pip install 'cuffloop[bench]'"


def bound(port: int | None) -> socket.socket:
    """A socket on 127.0.0.1: on the port that is asked for, else the usual one or any. Raises InputError."""
    for number in ((USUAL_PORT, 0) if port is None else (port,)):
        found = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            found.bind(("127.0.0.1", number))
            found.listen()  # a browser that is quicker than the server's libraries waits, and is not refused
            return found
        except (OSError, OverflowError) as error:
            reason = getattr(error, "strerror", None) or error
            found.close()
    wanted = USUAL_PORT if port is None else port
    raise InputError(f"--port {wanted}: 127.0.0.1:{wanted} cannot be used: {reason}")


def serve(setup: Setup, port: int | None = None, browser: bool = True, fresh_key: bool = False) -> None:
    """Serve a bench until Ctrl-C. Raises InputError for a rig that cannot be read and a port that cannot be had."""
    try:
        import uvicorn  # noqa: F401
        from starlette.applications import Starlette  # noqa: F401
    except ImportError:
        raise InputError(NEEDED) from None
    known(setup)
    place, own_key = bound(port), key(fresh_key)
    address = f"http://127.0.0.1:{place.getsockname()[1]}/?key={own_key}"
    print(f"The bench is at {address}\nCtrl-C ends it.", flush=True)
    if browser and not webbrowser.open(address):
        print("cuffloop: no browser could be opened; open the address above in one", file=sys.stderr)
    try:
        asyncio.run(Running(setup, place, own_key).run())
    except KeyboardInterrupt:
        return
    finally:
        place.close()


class Running:
    """A bench on its socket."""

    def __init__(self, setup: Setup, place: socket.socket, own_key: str) -> None:
        self._setup, self._place, self._key = setup, place, own_key
        self._server: Any = None

    async def run(self) -> None:
        """Answer until `stop`, or a signal."""
        import uvicorn

        from experiments.bench.server.app import MOST_BYTES, BenchServer

        bench = BenchServer(self._setup, self._key, self._place.getsockname()[1])
        self._server = uvicorn.Server(uvicorn.Config(
            bench.app, log_level="warning", lifespan="off", ws_max_size=MOST_BYTES, ws_per_message_deflate=False,
            server_header=False, date_header=False, timeout_graceful_shutdown=1,
        ))
        warming = asyncio.create_task(bench.warm_up())
        try:
            await self._server.serve(sockets=[self._place])
        finally:
            warming.cancel()
            bench.close()

    def stop(self) -> None:
        """End it soon."""
        if self._server is not None:
            self._server.should_exit = True
