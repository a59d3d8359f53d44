"""Starting a bench: on loopback only, and one line when it cannot."""
import socket
import threading

import pytest

from experiments.bench.server import start
from experiments.bench.server.start import Running, bound, serve
from experiments.bench.setup import usual_setup
from plant.errors import InputError
from tests.experiments.bench.helper import SETUP


def test_it_listens_on_loopback_and_on_another_port_when_the_usual_one_is_taken(monkeypatch):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        monkeypatch.setattr(start, "USUAL_PORT", taken.getsockname()[1])
        found = bound(None)
        assert found.getsockname()[0] == "127.0.0.1" and found.getsockname()[1] != taken.getsockname()[1]
        found.close()
        with pytest.raises(InputError, match="cannot be used"):
            bound(taken.getsockname()[1])


def test_a_bad_rig_is_refused_before_anything_listens():
    with pytest.raises(InputError, match="nothing"):
        serve(usual_setup("nothing"))


def test_the_address_is_printed_and_opened(monkeypatch, capsys):
    opened = []
    monkeypatch.setattr(start.webbrowser, "open", lambda address: bool(opened.append(address)))
    monkeypatch.setattr(Running, "run", _ended)
    server = threading.Thread(target=serve, args=(SETUP, 0))  # a browser's driver may have a loop of its own here
    server.start()
    server.join()
    said = capsys.readouterr()
    assert opened[0] in said.out and opened[0].startswith("http://127.0.0.1:") and "no browser" in said.err


async def _ended(self):
    raise KeyboardInterrupt


def test_a_browser_that_comes_before_the_server_waits():
    with bound(0) as place, socket.create_connection(place.getsockname(), timeout=5.0) as early:
        assert early.getpeername() == place.getsockname()
