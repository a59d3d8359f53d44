"""What can be had from a bench, and by whom."""
import contextlib
import json
import urllib.error
import urllib.request

import pytest

from experiments.bench.server.app import MOST_BYTES, MOST_TABS, PAGE, files
from experiments.bench.server.door import cookie_name
from tests.experiments.bench.conftest import KEY, heard


def got(bench, path, **headers):
    """Status, headers and text of an address, with the key unless a cookie is given."""
    request = urllib.request.Request(f"http://{bench.address}{path}")
    for name, value in {"Cookie": f"{cookie_name(bench.port)}={KEY}", **headers}.items():
        request.add_header(name, value)
    try:
        with urllib.request.urlopen(request, timeout=20) as answer:
            return answer.status, answer.headers, answer.read().decode()
    except urllib.error.HTTPError as refused:
        return refused.code, refused.headers, refused.read().decode()


def test_the_page_and_its_files_and_nothing_else(bench):
    status, headers, text = got(bench, "/")
    assert status == 200 and '<div id="bench">' in text and "default-src 'none'" in headers["content-security-policy"]
    for address in files():
        assert got(bench, address)[0] == 200, address
    for path in ("/page/", "/page/index.html", "/page/../setup.py", "/page/%2e%2e/setup.py", "//etc/passwd"):
        assert got(bench, path)[0] == 404, path
    assert len(files()) == sum(p.is_file() for p in PAGE.rglob("*")) - 1


def test_without_the_key_or_by_another_name_there_is_nothing(bench):
    assert got(bench, "/", Cookie="x=y")[0] == 403
    assert got(bench, "/", Host="example.invalid")[0] == 421
    assert got(bench, f"/?key={KEY}", Cookie="x=y")[0] == 200


@pytest.mark.parametrize("changes", [{"origin": "http://example.invalid"}, {"key": "wrong"}, {"origin": None}], ids=str)
def test_a_foreign_page_gets_no_line(bench, changes):
    exceptions = pytest.importorskip("websockets.exceptions")
    with pytest.raises(exceptions.InvalidStatus) as refused, bench.tab(**changes):
        pass
    assert refused.value.response.status_code == 403


def test_a_tab_is_told_what_there_is_and_when_it_is_ready(bench):
    with bench.tab() as tab:
        assert heard(tab, "known").head["record"] == "synthetic"
        assert heard(tab, "state").head["trouble"] == ""


def test_what_is_no_request_gets_one_line_and_the_tab_lives_on(bench):
    with bench.tab() as tab:
        for text in ("no json", "[]", "{}", '{"slot": 3}', "[" * 5000):
            tab.send(text)
            assert "not a request" in heard(tab, "").head["error"]
        tab.send(b"\x00\x01")
        assert "not a request" in heard(tab, "").head["error"]
        tab.send(json.dumps({"slot": "own", "number": 1, "settings": {"valve.kind": "x.py:X"}}))
        assert "only built-in kinds" in heard(tab, "own", 1).head["error"]


def test_a_message_beyond_all_measure_and_a_tab_too_many_are_refused(bench):
    exceptions = pytest.importorskip("websockets.exceptions")
    with bench.tab() as tab, pytest.raises(exceptions.ConnectionClosed):
        tab.send("x" * (MOST_BYTES + 1))
        while True:
            tab.recv(timeout=20)
    with contextlib.ExitStack() as all_tabs:
        for _ in range(MOST_TABS):
            heard(all_tabs.enter_context(bench.tab()), "known")
        with pytest.raises(exceptions.InvalidStatus), bench.tab():
            pass
