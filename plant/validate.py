"""Checking tables against part declarations: one clear line for the first thing that is wrong."""
from __future__ import annotations

import functools
from typing import Any, Literal, get_args, get_origin

from pydantic import ConfigDict, TypeAdapter, ValidationError, create_model

from plant.declare import declared
from plant.errors import InputError
from plant.messages import one_line, value_text


@functools.cache
def _checker(part_class: type) -> TypeAdapter[Any]:
    # a NamedTuple adapter takes sequences too and coerces "1" to 1.0; a strict model on the same fields does neither
    fields: dict[str, Any] = {}
    for parameter in declared(part_class):
        default = ... if parameter.default is None else parameter.default
        fields[parameter.name] = (parameter.annotation, default)
    model = create_model(part_class.__name__, __config__=ConfigDict(extra="forbid", strict=True), **fields)
    return TypeAdapter(model)


def validated(part_class: type, values: dict[str, Any], where: str, table: str) -> Any:
    """A part from a table of values. Raises InputError naming source, key, value and allowed range or keys."""
    try:
        model = _checker(part_class).validate_python(values)
    except ValidationError as error:
        raise InputError(_line(part_class, error.errors()[0], where, table)) from None
    return part_class(**{p.name: getattr(model, p.name) for p in declared(part_class)})


def _line(part_class: type, first: Any, where: str, table: str) -> str:
    key = one_line(first["loc"][0], 60) if first["loc"] else ""
    parameters = {p.name: p for p in declared(part_class)}
    if first["type"] == "extra_forbidden":
        return f"{where}: {table}.{key} is not a key of this part; use one of {', '.join(parameters)}"
    if first["type"] == "missing":
        return f"{where}: {table}.{key} is missing and has no default"
    parameter, shown = parameters.get(key), value_text(first.get("input"))
    if parameter is not None and parameter.low is not None:
        unit = f" {parameter.unit}" if parameter.unit not in ("", "1") else ""
        number = "a whole number" if parameter.kind is int else "a number"
        return (f"{where}: {table}.{key} = {shown} must be {number} from {parameter.low:g} to {parameter.high:g}{unit} "
                f"({parameter.meaning})")
    if parameter is not None and parameter.kind is bool:
        return f"{where}: {table}.{key} = {shown} must be true or false ({parameter.meaning})"
    if parameter is not None and get_origin(parameter.kind) is Literal:
        allowed = ", ".join(str(word) for word in get_args(parameter.kind))
        return f"{where}: {table}.{key} = {shown}: use one of {allowed} ({parameter.meaning})"
    return f"{where}: {table}.{key} = {shown}: {first['msg'][0].lower()}{first['msg'][1:]}"
