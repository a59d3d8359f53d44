"""The bench in a notebook: `cuffloop.bench("wrist")` shows the page; what is turned there can be read and set here."""
from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from experiments.bench import bundle
from experiments.bench.asked import asked_of
from experiments.bench.replies import Replies
from experiments.bench.setup import Setup, usual_setup
from experiments.bench.words import known
from experiments.front.inputs import given_of, load_rig
from experiments.front.public import public
from experiments.rigs.rig import Rig
from plant.errors import InputError

if TYPE_CHECKING:
    from experiments.front.inputs import RigLike

NEEDED = "the bench in a notebook needs anywidget: pip install 'cuffloop[notebook]'"


@public
def bench(rig: RigLike = "wrist", *, record: str | Path | None = None, seconds: float | None = None) -> Any:
    """The bench as a widget: a page in the notebook's cell on which a turned knob moves margins, trace and verdict.

    Args:
        rig: name of a built-in rig, path of a rig file, or what `load_rig` returned.
        record: arterial pressure by name or file, as `check` takes it; None: the usual one.
        seconds: use only so much of the record [s].

    Returns:
        A widget that shows itself. `rig` (name) and `settings` (a dict of `table.key` to value) can be read and set;
        `made()` is the rig as it stands, for `check` and the others. `close()` ends it.

    Raises:
        InputError: a rig or record that cannot be read, or anywidget is not installed.

    >>> import cuffloop
    >>> shown = cuffloop.bench("wrist", record="synthetic")
    >>> shown.settings = {"controller.kp": 0.02}
    >>> shown.made().controller.kp
    0.02
    """
    try:
        widget = _widget_class()
    except ImportError:
        raise InputError(NEEDED) from None
    name, *settings = given_of(rig)
    setup = usual_setup(name)._replace(settings=tuple(settings), record=None if record is None else str(record),
                                       seconds=seconds)
    known(setup)
    return widget(setup)


def made(setup: Setup, rig: str, settings: dict[str, Any]) -> Rig:
    """The rig of a widget as it stands. Raises InputError."""
    asked_of(setup, {"rig": rig, "settings": settings}).made()
    given = list(setup.settings) if rig == setup.rigs[0] else []
    turned = sorted(settings, key=lambda key: not key.endswith(".kind"))
    from experiments.rigs.table import toml_value

    return load_rig(rig, given + [f"{key}={toml_value(settings[key])}" for key in turned])


def _widget_class() -> Any:
    """The widget's class. It is made when it is asked for: anywidget is not needed elsewhere. Raises ImportError."""
    import anywidget
    import traitlets

    class BenchWidget(anywidget.AnyWidget):  # type: ignore[misc]  # anywidget is read without its types
        """The bench in a cell."""

        _esm = bundle.script(bundle.PAGE / "parts" / "notebook.js")
        _css = bundle.style()
        rig = traitlets.Unicode().tag(sync=True)
        settings = traitlets.Dict().tag(sync=True)

        def __init__(self, setup: Setup) -> None:
            super().__init__(rig=setup.rigs[0], settings={})
            self._setup = setup
            self._replies = Replies(setup, lambda answer: self.send({}, [answer]))
            self.on_msg(lambda _, content, buffers: self._replies.receive(str(content["text"])))

        def made(self) -> Rig:
            """The rig as it stands on the page."""
            return made(self._setup, self.rig, dict(self.settings))

        def close(self) -> None:
            """End it, and what runs aside."""
            self._replies.close()
            super().close()

    return BenchWidget
