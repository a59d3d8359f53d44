"""Host, origin and key are looked at before anything else is."""
import asyncio
from concurrent.futures import ThreadPoolExecutor

import pytest

from experiments.bench.server.door import Door, cookie_name, security_headers

KEY, PORT = "k" * 43, 8417
HOST, COOKIE = ("host", "127.0.0.1:8417"), ("cookie", f"{cookie_name(PORT)}={KEY}")
ORIGIN = ("origin", "http://127.0.0.1:8417")


def through(kind="http", path="/page/x.js", query="", headers=()):
    """What a request gets: status, headers, and whether the app has seen it."""
    seen, sent = [], []

    async def app(scope, receive, send):
        seen.append(scope["path"])
        if kind == "http":
            await send({"type": "http.response.start", "status": 200, "headers": []})

    async def send(message):
        sent.append(message)

    scope = {"type": kind, "path": path, "query_string": query.encode(),
             "headers": [(n.encode("latin-1"), v.encode("latin-1")) for n, v in headers]}
    # in a thread of its own: a browser's tests may have a loop running in this one
    with ThreadPoolExecutor(1) as aside:
        aside.submit(asyncio.run, Door(app, KEY, PORT)(scope, None, send)).result()
    first = sent[0] if sent else {}
    return first.get("status", first.get("code")), dict(first.get("headers", [])), bool(seen)


@pytest.mark.parametrize(("request_", "status"), [
    ({"headers": [HOST]}, 403), ({"headers": [("host", "example.invalid"), COOKIE]}, 421), ({"headers": [COOKIE]}, 421),
    ({"headers": [HOST, ("cookie", f"{cookie_name(PORT)}=wrong")]}, 403),
    ({"headers": [HOST, ("cookie", f"{cookie_name(1)}={KEY}")]}, 403),
    ({"headers": [HOST, COOKIE, ("origin", "http://example.invalid")]}, 403),
    ({"headers": [HOST, COOKIE, ("origin", "null")]}, 403),
    ({"headers": [HOST], "query": f"key={KEY}"}, 403),  # the key opens the page only
    ({"headers": [HOST], "path": "/", "query": "key=wrong"}, 403),
    ({"headers": [HOST], "path": "/", "query": f"key={KEY}&key={KEY}"}, 403),
    ({"kind": "websocket", "headers": [HOST, COOKIE]}, 1008),  # no origin: not a page
    ({"kind": "websocket", "headers": [HOST, ORIGIN]}, 1008),
    ({"kind": "websocket", "headers": [HOST, COOKIE, ("origin", "https://127.0.0.1:8417")]}, 1008),
    ({"kind": "websocket", "headers": [("host", "127.0.0.1:1"), COOKIE, ORIGIN]}, 1008),
], ids=str)
def test_who_is_refused_does_not_reach_the_app(request_, status):
    found, _, seen = through(**request_)
    assert found == status and not seen


@pytest.mark.parametrize("request_", [
    {"headers": [HOST, COOKIE]}, {"headers": [("host", "localhost:8417"), COOKIE, ORIGIN]},
    {"kind": "websocket", "headers": [HOST, COOKIE, ORIGIN]}, {"headers": [HOST], "path": "/", "query": f"key={KEY}"},
], ids=str)
def test_who_has_the_key_comes_in(request_):
    assert through(**request_)[2]


def test_the_page_gets_the_key_as_a_cookie_that_no_script_and_no_other_site_has():
    _, headers, _ = through(path="/", query=f"key={KEY}", headers=[HOST])
    cookie = headers[b"set-cookie"].decode()
    assert f"{cookie_name(PORT)}={KEY}" in cookie and "HttpOnly" in cookie and "SameSite=Strict" in cookie
    assert b"set-cookie" not in through(headers=[HOST, COOKIE])[1]


def test_nothing_inline_nothing_foreign_nothing_stored():
    _, headers, _ = through(headers=[HOST, COOKIE])
    wanted = security_headers(PORT)
    assert {name.encode(): value.encode() for name, value in wanted.items()}.items() <= headers.items()
    policy = wanted["content-security-policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy and "frame-ancestors 'none'" in policy
    assert wanted["cache-control"] == "no-store" and wanted["referrer-policy"] == "no-referrer"
