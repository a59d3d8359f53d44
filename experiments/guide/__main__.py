"""`python -m experiments.guide [FOLDER]`: build the guide; its first page is FOLDER/site/index.html."""
from __future__ import annotations

import sys
from pathlib import Path

from plant.errors import InputError

USUAL = Path("out/guide")
USAGE = "usage: python -m experiments.guide [FOLDER] [--without-lessons]"


def main(arguments: list[str]) -> int:
    """Build into a folder; `--without-lessons` leaves the notebooks unexecuted. Returns the exit status."""
    places = [word for word in arguments if not word.startswith("-")]
    options = [word for word in arguments if word.startswith("-")]
    if len(places) > 1 or set(options) - {"--without-lessons"}:
        print(USAGE, file=sys.stderr)
        return 2
    folder = Path(places[0]) if places else USUAL
    try:
        from experiments.guide.build import build

        status = build(folder.resolve(), execute=not options)
    except InputError as error:
        print(f"cuffloop guide: {error}", file=sys.stderr)
        return 2
    if status == 0:
        print(f"wrote {folder / 'site' / 'index.html'}")
    return status


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
