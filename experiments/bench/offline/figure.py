"""The live figure as one HTML file: page, data and compiled loop, nothing from elsewhere."""
from __future__ import annotations

import base64
import gzip
import html
import re
from typing import Any

import numpy as np

from controller.tick.firmware import CLAMP
from experiments.bench import bundle
from experiments.bench.offline.entry import entry_of, numbers_of
from experiments.bench.offline.grid import FIGURES, margin_grid, stored
from experiments.bench.offline.scene import BEHIND, Axis, Scene, counted_of, modes, numbers_at, ready_at, runs_of
from experiments.bench.offline.webassembly import linker, module_of
from experiments.bench.wire import Answer, packed
from experiments.simulation.coupled import CHANNELS
from experiments.simulation.simulate import SATURATED_SHARE, Ready
from experiments.work.output import CAUTION, own_version
from plant.finger.artery import unloaded_pressure

MOST_RUNS = 20  # of equal values, beyond which a signal travels sample by sample
LABELS = {"kp": "gain of the controller, kp", "dead_time_s": "dead time, from sample to command",
          "volume_error": "set point: volume held, against the unloaded one"}
POLICY = ("default-src 'none'; script-src 'unsafe-inline' 'wasm-unsafe-eval'; style-src 'unsafe-inline'; "
          "img-src data: blob:")
DARK = re.compile(r"@media \(prefers-color-scheme: dark\) \{.*?\n\}\n", re.S)
PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<title>{title}</title><link rel="icon" href="data:,">
<style>{style}</style></head>
<body><div id="figure" class="bench live"></div>
<noscript>This figure runs in the page: it needs JavaScript.</noscript>
{blocks}
<script type="module">{script}</script></body></html>
"""


def figure_page(scene: Scene, command: str) -> str:
    """The page of a scene; `command` repeats it. Raises InputError where nothing can link WebAssembly."""
    linker()
    ready = ready_at(scene.rig, scene.trace, scene.at(*(axis.usual for axis in scene.axes)))
    entry = entry_of(ready)
    blocks = {"data": packed(figure_data(scene, ready, command)), "once": module_of(entry, rounds_once=True),
              "twice": module_of(entry, rounds_once=False)}
    code = bundle.script(bundle.PAGE / "offline" / "main.js")
    assert "</script" not in code, "a script ends where its text says so"
    return PAGE.format(
        policy=html.escape(POLICY, quote=True), title=html.escape(f"Live figure: rig {scene.rig.name}"),
        style=style(), script=code, blocks="\n".join(_block(name, data) for name, data in blocks.items()))


def style() -> str:
    """The sheet's style, light whatever the reader's system is: the page around it is light too."""
    own = (bundle.PAGE / "offline" / "offline.css").read_text(encoding="utf-8")
    return DARK.sub("", bundle.style()) + own


def _block(name: str, data: bytes) -> str:
    text = base64.b64encode(gzip.compress(data, 9, mtime=0)).decode()
    return f'<script type="application/octet-stream" id="{name}">{text}</script>'


def figure_data(scene: Scene, ready: Ready, command: str) -> Answer:
    """All that the page has to know: numbers of the run, what the sliders change in them, margins, the record."""
    rig, numbers = scene.rig, numbers_of(ready)
    own = numbers_at(rig, scene.trace, scene.at(*(axis.usual for axis in scene.axes)))
    counted, beats = counted_of(ready)
    tone: Any = ready.inputs.tone  # the law is compiled for one tone or for many
    signals = {"tone": ready.inputs.tone, "ambient": ready.inputs.ambient,
               "unloaded_mmHg": np.broadcast_to(unloaded_pressure(rig.plant.artery, tone), tone.shape)}
    arrays: dict[str, Any] = {"arterial_mmHg": scene.trace.pressure_mmHg}
    grid = margin_grid(scene)
    arrays |= {name: stored(grid[name], figure) for name, figure in FIGURES.items()}
    pressures = ", ".join(f"{name} {value:.0f}" for name, value in scene.pressures_mmHg.items())
    head: dict[str, Any] = {
        "rig": rig.name, "record": scene.trace.name, "caution": CAUTION, "ticks": ready.ticks, "seed": ready.seed,
        "period_s": ready.period_s, "numbers": numbers.tolist(), "behind": list(BEHIND),
        "behind_values": own[len(numbers):].tolist(), "ring_most": _ring_most(scene, own), "channels": list(CHANNELS),
        "signals": {name: _signal(values) for name, values in signals.items()} | {"mode": modes(ready)},
        "clamp": CLAMP, "saturated_share": SATURATED_SHARE, "counted": runs_of(counted), "beats": beats.tolist(),
        "axes": [axis_words(axis) for axis in scene.axes], "judged": f"arterial pressure {pressures} mmHg",
        "figures": [{"name": name, **figure._asdict()} for name, figure in FIGURES.items()],
        "about": about(scene, ready, command),
    }
    return Answer(head, arrays)


def about(scene: Scene, ready: Ready, command: str) -> list[str]:
    """How the figure comes about, in sentences."""
    return [
        f"Made by {command} (cuffloop {own_version()}).",
        f"The curves are a run of the whole loop: {ready.ticks * ready.period_s:g} s on ticks of "
        f"{1e3 * ready.period_s:g} ms, {ready.loop.clock.substeps:.0f} Runge–Kutta steps a tick, by the very code that "
        "the command runs, compiled for the browser. The cuff begins full; what counts begins after "
        f"{ready.plan.fill_s + ready.plan.settle_s:g} s. Pressures of the record are rounded to 1/128 mmHg.",
        "Margins are those of the exact sampled loop at the true light slope of mean pressure, on each side of the "
        "valve, worked out beforehand for every place of the sliders: they are looked up, not interpolated.",
    ]


def axis_words(axis: Axis) -> dict[str, Any]:
    """A slider with its values in words."""
    unit = {"kp": "1/mmHg", "dead_time_s": "ms", "volume_error": "%"}[axis.name]
    return {"name": axis.name, "label": LABELS[axis.name], "unit": unit, "values": list(axis.values),
            "words": [value_words(axis.name, value) for value in axis.values], "usual": axis.usual,
            "places": list(axis.places), "rows": [list(row) for row in axis.rows]}


def value_words(name: str, value: float) -> str:
    """A value of a slider as people say it."""
    if name == "kp":
        return f"{value:.4g} 1/mmHg"
    if name == "dead_time_s":
        return f"{1e3 * value:.4g} ms"
    share = f"{abs(100 * value):.0f} % too {'large' if value > 0 else 'small'}"
    return "the unloaded volume" if value == 0.0 else share


def _ring_most(scene: Scene, own: Any) -> int:
    """The longest ring of commands under way that any place of the sliders needs."""
    place = len(own) - len(BEHIND) + BEHIND.index("ring")
    rings = [own[place]]
    for axis in scene.axes:
        if place in axis.places:
            rings += [row[axis.places.index(place)] for row in axis.rows]
    return int(max(rings))


def _signal(values: Any) -> list[Any]:
    """A signal as [how many, value] one after the other, or sample by sample."""
    flat = np.asarray(values, float)
    edges = np.flatnonzero(np.diff(flat)) + 1
    if len(edges) >= MOST_RUNS:
        return [[1, value] for value in flat.tolist()]
    return [[len(part), float(part[0])] for part in np.split(flat, edges)]
