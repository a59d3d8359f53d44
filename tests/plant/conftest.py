"""What the plant's tests share: random parts drawn within their own declared bounds, and states as flat lists."""
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from hypothesis import strategies as st

from plant.declare import declared
from plant.electronics.transducer import Transducer
from plant.finger.artery import Artery
from plant.finger.light import Light
from plant.finger.segment import Segment
from plant.finger.tissue import Tissue
from plant.finger.tone import ToneDrive
from plant.finger.vein import Vein
from plant.pneumatics.air import Air
from plant.pneumatics.cuff import Cuff
from plant.pneumatics.flow_valve import FlowValve
from plant.pneumatics.pressure_valve import PressureValve
from plant.pneumatics.supply import Supply
from plant.pneumatics.tube import NoTube, Tube

PARTS = (
    Air, Artery, Cuff, FlowValve, Light, NoTube, PressureValve, Segment, Supply, Tissue, ToneDrive, Transducer, Tube,
    Vein,
)
DRAW = {float: st.floats, int: st.integers}


def within_bounds(part: type) -> st.SearchStrategy[Any]:
    """Any value of a part that a rig file could ask for."""
    fields = {p.name: DRAW[p.kind](p.low, p.high) if p.kind in DRAW else st.booleans() for p in declared(part)}
    return st.builds(part, **fields)


for part_class in PARTS:  # so that a test may write st.from_type(Artery)
    st.register_type_strategy(part_class, within_bounds(part_class))


def flat(state: Any) -> list[float]:
    """Every float of nested tuples, in order."""
    if isinstance(state, tuple):
        return [number for element in state for number in flat(element)]
    return [float(state)]


def like(state: Any, numbers: Iterator[float]) -> Any:
    """Nested tuples of the same shape, filled from a stream of floats."""
    if isinstance(state, tuple):
        parts = [like(element, numbers) for element in state]
        return type(state)(*parts) if hasattr(state, "_fields") else tuple(parts)
    return float(next(numbers))


@pytest.fixture(scope="session")
def flatten() -> Callable[[Any], list[float]]:
    """`flatten(state)` is its floats."""
    return flat


@pytest.fixture(scope="session")
def refill() -> Callable[[Any, Any], Any]:
    """`refill(state, numbers)` is the state with these floats instead."""
    return lambda state, numbers: like(state, iter(numbers))
