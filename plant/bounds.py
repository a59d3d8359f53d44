"""Hold a part's values against its own declaration, where no rig file has done it already."""
from __future__ import annotations

from typing import Any

from plant.declare import declared
from plant.errors import InputError


def check_bounds(part: Any, label: str = "") -> None:
    """Raise InputError when a number of a part (a NamedTuple of declared parameters) is outside its bounds or NaN."""
    for parameter in declared(type(part)):
        value = getattr(part, parameter.name)
        if parameter.low is None or parameter.high is None:
            continue
        if not parameter.low <= value <= parameter.high:  # false for NaN as well
            raise InputError(
                f"{label or type(part).__name__}.{parameter.name} = {value:g} {parameter.unit} is outside "
                f"{parameter.low:g} … {parameter.high:g} {parameter.unit}"
            )
