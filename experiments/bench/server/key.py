"""The key of a bench: who has it may use the page. It is in the address that is printed, then in a cookie.

It is kept, readable by its owner only, beside the compiled cache, so that an open tab finds the bench again after a
restart; after a week, or when asked, there is a new one.
"""
from __future__ import annotations

import hmac
import os
import secrets
import time
from pathlib import Path

from plant.declare import cache_directory

FILE = "bench-key"
LASTS_s = 7 * 86_400.0
LENGTH = 43  # characters of 32 random bytes


def key(fresh: bool = False) -> str:
    """The key of this user's benches on this machine. A place that cannot be written gives a new one each time."""
    place = cache_directory().parent / FILE
    if not fresh and (kept := _kept(place)):
        return kept
    made = secrets.token_urlsafe(32)
    try:
        place.unlink(missing_ok=True)
        with os.fdopen(os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(made)
    except OSError:
        return made
    return made


def _kept(place: Path) -> str:
    """The key in a file, if nobody else can read it and it is not too old."""
    try:
        about = place.lstat()
        found = place.read_text(encoding="ascii").strip()
    except (OSError, ValueError):
        return ""
    own = not hasattr(os, "getuid") or (about.st_uid == os.getuid() and about.st_mode & 0o077 == 0)
    young = 0.0 <= time.time() - about.st_mtime < LASTS_s
    return found if own and young and len(found) == LENGTH else ""


def same(given: str, wanted: str) -> bool:
    """Whether two keys are equal, in a time that does not tell how far they agree."""
    return hmac.compare_digest(given.encode("utf-8", "replace"), wanted.encode())
