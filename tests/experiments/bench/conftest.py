"""A bench that runs, for the tests that talk to it as a page does."""
import asyncio
import socket
import threading
import time
from typing import NamedTuple

import pytest

from experiments.bench.server.door import cookie_name
from experiments.bench.wire import unpacked
from tests.experiments.bench.helper import SETUP

KEY = "t" * 43


class Bench(NamedTuple):
    """Where a bench answers, and what it is asked with."""

    port: int

    @property
    def address(self):
        return f"127.0.0.1:{self.port}"

    def tab(self, **changes):
        """A websocket as the page opens it; `origin`, `host` or `key` may be wrong."""
        client = pytest.importorskip("websockets.sync.client", reason="websockets is not installed")
        headers = {"Cookie": f"{cookie_name(self.port)}={changes.get('key', KEY)}"}
        return client.connect(f"ws://{self.address}/live", origin=changes.get("origin", f"http://{self.address}"),
                              additional_headers=headers, compression=None, max_size=None)


def heard(tab, slot, number=None, seconds=60.0):
    """The next answer in a slot."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        message = tab.recv(timeout=end - time.monotonic())
        answer = unpacked(message)
        if answer.head.get("slot", "") == slot and number in (None, answer.head.get("number")):
            return answer
    raise TimeoutError(slot)


@pytest.fixture(scope="session")
def bench():
    """A bench on loopback, in a thread of this process."""
    pytest.importorskip("uvicorn", reason="uvicorn is not installed")
    pytest.importorskip("starlette", reason="starlette is not installed")
    from experiments.bench.server.start import Running

    place = socket.create_server(("127.0.0.1", 0))
    running = Running(SETUP, place, KEY)
    thread = threading.Thread(target=lambda: asyncio.run(running.run()))
    thread.start()
    yield Bench(place.getsockname()[1])
    running.stop()
    thread.join(10.0)
    place.close()
    assert not thread.is_alive()
