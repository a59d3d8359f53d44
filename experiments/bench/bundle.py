"""The page's modules as one, for a notebook: each becomes a function that is called once, in the order of need."""
from __future__ import annotations

import re
from pathlib import Path

PAGE = Path(__file__).resolve().parent / "page"
LIBRARY = PAGE / "vendor" / "uplot-1.6.32.min.js"
STYLES = (PAGE / "vendor" / "uplot-1.6.32.css", PAGE / "bench.css", PAGE / "parts.css")
_IMPORT = re.compile(r'^import \{([^}]*)\} from "([^"]+)";\n', re.M)
_EXPORT = re.compile(r"^export (async function|function|class|const) (\w+)", re.M)


def script(first: Path) -> str:
    """A module with all that it imports as one module; what it exports by default stays exported.

    Understood are `import { names } from "./file.js";` and `export` before a function, a class or a constant.
    """
    made: dict[Path, str] = {}
    _add(first.resolve(), made)
    return "\n".join([LIBRARY.read_text(encoding="utf-8"), *made.values()])


def style() -> str:
    """The page's style sheets as one."""
    return "\n".join(path.read_text(encoding="utf-8") for path in STYLES)


def _add(path: Path, made: dict[Path, str]) -> None:
    """Put a module behind those that it needs. A circle of imports ends in RecursionError, which no page has."""
    if path in made:
        return
    text = path.read_text(encoding="utf-8")
    needed = [(names, (path.parent / where).resolve()) for names, where in _IMPORT.findall(text)]
    for _, other in needed:
        _add(other, made)
    body = _IMPORT.sub("", text)
    exported = [name for _, name in _EXPORT.findall(body)]
    taken = "".join(f"const {{{names.replace(' as ', ': ')}}} = {_name(other)};\n" for names, other in needed)
    if "export default" in body:
        made[path] = taken + body
        return
    inner = _EXPORT.sub(r"\1 \2", body)
    made[path] = f"const {_name(path)} = (() => {{\n{taken}{inner}\nreturn {{ {', '.join(exported)} }};\n}})();"


def _name(path: Path) -> str:
    return "module_" + re.sub(r"\W", "_", f"{path.parent.name}_{path.stem}")
