"""Values and names as they may stand in a one-line message: control characters escaped, cut when long."""
from __future__ import annotations

from typing import Any

LONGEST = 1000  # characters of a whole message


def one_line(text: object, most: int = LONGEST) -> str:
    """Text with everything escaped that would break the line or the terminal; cut, with an ellipsis, when long."""
    plain = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in str(text))
    return plain if len(plain) <= most else plain[: most - 1] + "…"


def value_text(value: Any, most: int = 60) -> str:
    """A value from a file as its user would recognise it, on one line."""
    try:
        return one_line(repr(value), most)
    except ValueError:  # Python does not print whole numbers of over 4300 digits
        return "a number of thousands of digits"
    except RecursionError:
        return "a value nested too deeply"
