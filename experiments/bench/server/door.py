"""Who may come in: loopback names only, the bench's own pages only, and only with the key."""
from __future__ import annotations

from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

from experiments.bench.server.key import same

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

CLOSED = "Open the address that `cuffloop bench` has printed: it holds the key of this bench.\n"
ELSEWHERE = "This bench answers on 127.0.0.1 and localhost only.\n"
FOREIGN = "Another page may not talk to this bench.\n"
REFUSED = 1008  # close code of a websocket: policy


class Door:
    """Lets requests through to an app, or refuses them before it sees them."""

    def __init__(self, app: App, key: str, port: int) -> None:
        self._app, self._key = app, key
        self._hosts = {f"127.0.0.1:{port}", f"localhost:{port}"} | ({"127.0.0.1", "localhost"} if port == 80 else set())
        self.cookie = cookie_name(port)
        self._port = port

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check host, origin and key, in this order."""
        headers = {name.decode("latin-1"): value.decode("latin-1") for name, value in scope.get("headers", [])}
        reason = self._reason(scope, headers)
        if not reason:
            await self._app(scope, receive, self._marked(scope, send))
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": REFUSED})
        else:
            await _refuse(send, *reason)

    def _reason(self, scope: Scope, headers: dict[str, str]) -> tuple[int, str] | None:
        """Status and words of a refusal; None for who may come in."""
        if headers.get("host", "") not in self._hosts:
            return 421, ELSEWHERE
        origin = headers.get("origin")
        if (origin is None and scope["type"] == "websocket") or (origin is not None and not self._own(origin)):
            return 403, FOREIGN
        if not (self._given(scope) or self._kept(headers)):
            return 403, CLOSED
        return None

    def _own(self, origin: str) -> bool:
        return origin in {f"http://{host}" for host in self._hosts}

    def _given(self, scope: Scope) -> bool:
        """Whether the address holds the key: of the page itself only, which then keeps it as a cookie."""
        if scope["type"] != "http" or scope["path"] != "/":
            return False
        keys = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("key", [])
        return len(keys) == 1 and same(keys[0], self._key)

    def _kept(self, headers: dict[str, str]) -> bool:
        try:
            found = SimpleCookie(headers.get("cookie", "")).get(self.cookie)
        except CookieError:
            return False
        return found is not None and same(found.value, self._key)

    def _marked(self, scope: Scope, send: Send) -> Send:
        """Sending with the cookie on the page, and with what keeps everything in this browser tab."""
        if scope["type"] != "http":
            return send
        extra = [(name.encode(), value.encode()) for name, value in security_headers(self._port).items()]
        if self._given(scope):
            cookie = f"{self.cookie}={self._key}; Path=/; HttpOnly; SameSite=Strict"
            extra.append((b"set-cookie", cookie.encode()))

        async def marked(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", []), *extra]
            await send(message)

        return marked


def cookie_name(port: int) -> str:
    """Cookies do not tell ports apart, so the name does."""
    return f"cuffloop_bench_{port}"


def security_headers(port: int) -> dict[str, str]:
    """Nothing from elsewhere, no inline script, no frame around it, nothing stored."""
    sockets = f"ws://127.0.0.1:{port} ws://localhost:{port}"
    policy = (f"default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self' {sockets}; "
              "img-src 'self' data: blob:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
    return {"content-security-policy": policy, "referrer-policy": "no-referrer", "cache-control": "no-store",
            "x-content-type-options": "nosniff", "cross-origin-resource-policy": "same-origin",
            "cross-origin-opener-policy": "same-origin"}


async def _refuse(send: Send, status: int, words: str) -> None:
    body = words.encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode()),
               (b"cache-control", b"no-store")]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
