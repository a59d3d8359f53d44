"""What a function of `import cuffloop` returns: prints like the command, plots, and is labelled data with units."""
from __future__ import annotations

import html
import json
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from experiments.work.output import OutputFolder, plain

if TYPE_CHECKING:
    import xarray
    from matplotlib.figure import Figure

STYLE = "overflow-x: auto; line-height: 1.35; font-size: 0.9em"


@dataclass(frozen=True, eq=False, repr=False)
class Result(ABC):
    """A frozen result. `print(result)` is the command's table, `result.to_json()` what its `--json` prints."""

    told: Mapping[str, Any] = field(kw_only=True)  # provenance (versions, call, seed) and the caution

    @property
    def passed(self) -> bool:
        """Whether the verdict is good; the command's exit status is then 0. True where there is no verdict."""
        return True

    @property
    @abstractmethod
    def file_name(self) -> str:
        """Beginning of the names of its files, as in `check.json`."""

    @abstractmethod
    def lines(self) -> list[str]:
        """What the command prints, line by line."""

    @abstractmethod
    def document(self) -> dict[str, Any]:
        """Everything as plain data, with the provenance."""

    @abstractmethod
    def pictures(self) -> dict[str, Callable[[], Any]]:
        """Functions that draw each figure, by the names of their files; none is drawn yet."""

    @abstractmethod
    def to_xarray(self) -> xarray.Dataset:
        """The numbers as an xarray Dataset: labelled, with `units` and `long_name` on the variables."""

    def plot(self) -> dict[str, Figure]:
        """Matplotlib figures by name. They need no screen; in a notebook write the name of one to see it."""
        return {name: draw() for name, draw in self.pictures().items()}

    def to_json(self) -> str:
        """The document that the command prints with `--json`. Numbers that are not finite are the words nan and inf."""
        return json.dumps(plain(self.document()), indent=2, ensure_ascii=False)

    @property
    def units(self) -> dict[str, str]:
        """Unit of every number of `to_xarray()`, by its name; `1` for what has none."""
        return {str(name): str(variable.attrs["units"]) for name, variable in self.to_xarray().variables.items()
                if "units" in variable.attrs}

    def save(self, folder: str | Path) -> list[str]:
        """Write the files that the command writes with `--out`; all of them or none. Returns their names.

        Raises InputError when the folder cannot be written.
        """
        with OutputFolder.open(Path(folder)) as place:
            assert place is not None
            self.write(place)
            return list(place.written)

    def write(self, folder: OutputFolder) -> None:
        """Put its files into a folder that is open."""
        folder.write_json(f"{self.file_name}.json", self.document())
        folder.write_figures(self.pictures())

    def __str__(self) -> str:
        """As the command prints it."""
        return "\n".join(self.lines())

    def __repr__(self) -> str:
        """The same: a result shows itself at the prompt."""
        return str(self)

    def _repr_html_(self) -> str:
        """The same table in a notebook, in letters of one width."""
        return f'<pre style="{STYLE}">{html.escape(str(self))}</pre>'

    def attributes(self) -> dict[str, str]:
        """Provenance as attributes of a data set."""
        return {"provenance": json.dumps(plain(dict(self.told)), ensure_ascii=False)}
