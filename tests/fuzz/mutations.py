"""Damage to text and bytes, as careless hands, bad disks and strangers do it."""
from __future__ import annotations

from random import Random

TOKENS = (
    "nan", "inf", "-inf", "1e999", "-1", "0", "1e308", "-1e-320", "1_000", "9" * 25, "9" * 400, "9" * 5000, "0x10",
    "1e80", "true", "null", '"', "'", '"""', "\\", "[", "]", "{", "}", "[[", "=", ":", ",", ";", "#", ".", "..", "/",
    "-", "--", "\0", "\r", "\n", "\t", "\x1b[31m", "\u202e", "é", "１", "𝟗", "\ufeff", " ", "%s", "{0}", "$(true)",
    "../../x", "a" * 300, "[" * 3000, '{"a":' * 2000, "x.py:X", "kind", "name", "base", "os.system", "__class__",
)


def token(rng: Random) -> str:
    """One of the words above, or a random number."""
    return rng.choice(TOKENS) if rng.random() < 0.8 else repr(rng.choice([-1, 1]) * 10.0 ** rng.uniform(-320, 308))


def mutated_text(rng: Random, text: str) -> str:
    """A text with one to four slips: a piece gone, doubled, moved or replaced; a line swapped; a number made absurd."""
    for _ in range(rng.randint(1, 4)):
        text = rng.choice(TEXT_SLIPS)(rng, text)[:200_000]
    return text


def _piece(rng: Random, text: str) -> tuple[int, int]:
    start = rng.randint(0, len(text))
    return start, min(len(text), start + rng.choice((0, 1, 1, 2, 5, 30)))


def _replace(rng: Random, text: str) -> str:
    start, end = _piece(rng, text)
    return text[:start] + token(rng) + text[end:]


def _delete(rng: Random, text: str) -> str:
    start, end = _piece(rng, text)
    return text[:start] + text[end:]


def _double(rng: Random, text: str) -> str:
    start, end = _piece(rng, text)
    return text[:end] + text[start:end] * rng.choice((1, 1, 2, 50)) + text[end:]


def _cut(rng: Random, text: str) -> str:
    return text[: rng.randint(0, len(text))]


def _lines(rng: Random, text: str) -> str:
    lines = text.splitlines(keepends=True) or [""]
    i, j = rng.randrange(len(lines)), rng.randrange(len(lines))
    lines[i], lines[j] = lines[j], lines[i]
    if rng.random() < 0.5:
        lines.insert(i, lines[j])
    if rng.random() < 0.3:
        del lines[i]
    return "".join(lines)


def _number(rng: Random, text: str) -> str:
    """Some number of the text becomes another one, or no number."""
    before = " " + text
    places = [i for i, c in enumerate(text) if c.isdigit() and not (before[i].isalnum() or before[i] in "._")]
    if not places:
        return _replace(rng, text)
    start = end = rng.choice(places)
    while end < len(text) and (text[end].isdigit() or text[end] in ".e"):
        end += 1
    return text[:start] + token(rng) + text[end:]


TEXT_SLIPS = (_replace, _replace, _delete, _double, _cut, _lines, _number, _number)


def mutated_bytes(rng: Random, content: bytes) -> bytes:
    """Bytes with some flipped, gone, added, cut short, or with a text's slips where they are text."""
    if rng.random() < 0.3:
        return mutated_text(rng, content.decode("latin-1")).encode("utf-8", "surrogatepass")
    changed = bytearray(content)
    for _ in range(rng.randint(1, 4)):
        at = rng.randint(0, len(changed))
        what = rng.random()
        if what < 0.5 and changed:
            changed[at % len(changed)] ^= 1 << rng.randrange(8)
        elif what < 0.65:
            del changed[at : at + rng.choice((1, 4, 50))]
        elif what < 0.8:
            changed[at:at] = rng.randbytes(rng.choice((1, 4, 50)))
        elif what < 0.9:
            del changed[at:]
        else:
            changed[at : at + 8] = rng.choice((b"\xff" * 8, b"\0" * 8, b"\x7f" + b"\xff" * 7))
    return bytes(changed)


def mutated_value(rng: Random, value: object) -> object:
    """Plain data with one place changed: gone, of another type, absurd, or nested."""
    if isinstance(value, dict) and value and rng.random() < 0.9:
        key = rng.choice(list(value))
        if rng.random() < 0.15:
            return {k: v for k, v in value.items() if k != key}
        return {**value, key: mutated_value(rng, value[key])}
    if isinstance(value, list) and value and rng.random() < 0.9:
        at = rng.randrange(len(value))
        if rng.random() < 0.15:
            return value[:at] + value[at + 1 :]
        return [*value[:at], mutated_value(rng, value[at]), *value[at + 1 :]]
    return rng.choice((
        None, True, False, 0, -1, 1, 2**53 + 1, 10**25, 10**400, -0.0, 1e308, "", "x", "nan", "inf", "-inf", "\n",
        "\u202e", "é" * 2000, [], {}, [value], {"x": value}, [[[[]]]], token(rng)))
