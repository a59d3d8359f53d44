"""How a number is written, wherever a person writes one: on the command line, in a table, in a name.

ASCII digits, a point, an exponent, a sign; `inf` and `nan`, for whoever checks the range to refuse. Python's own reader
takes more: 1_000, digits of other scripts, whole numbers of any length, which then fit no machine number. (A TOML file
is read by TOML's own rules.)
"""
from __future__ import annotations

import re

DECIMAL = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?|[+-]?(?:inf|infinity|nan)", re.ASCII | re.IGNORECASE)
WHOLE = re.compile(r"[+-]?\d+", re.ASCII)
LONGEST = 400  # characters
LARGEST_WHOLE = 2**63 - 1
GROUPED = re.compile(r"[+-]?[\d.]*\d_[\d._]*(?:e[+-]?[\d_]+)?", re.ASCII | re.IGNORECASE)  # 1_000, 0_5.5e1_0


def read_number(text: str) -> float:
    """A number from text; blanks around it do not count. Raises ValueError."""
    bare = text.strip()
    if len(bare) > LONGEST or not DECIMAL.fullmatch(bare):
        raise ValueError(f"{bare[:40]!r} is not a number")
    return float(bare)


def read_whole(text: str) -> int:
    """A whole number of at most 64 bits from text; blanks around it do not count. Raises ValueError."""
    bare = text.strip()
    if len(bare) > LONGEST or not WHOLE.fullmatch(bare) or abs(int(bare)) > LARGEST_WHOLE:
        raise ValueError(f"{bare[:40]!r} is not a whole number of at most {len(str(LARGEST_WHOLE))} digits")
    return int(bare)
