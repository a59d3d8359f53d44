"""A finished identification, as `cuffloop identify` writes it: where a rig's numbers come from, for its design file."""
from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, NamedTuple

from pydantic import ConfigDict, Field, TypeAdapter
from typing_extensions import TypedDict

from experiments.rigs.rig import Rig
from experiments.rigs.table import rig_parts
from experiments.safety.report.page import Code, Section, image, paragraph, table
from experiments.safety.report.study_document import Number, Provenance, Text
from experiments.work.json_file import read_json
from plant.errors import InputError
from plant.messages import one_line

FILE, PICTURE = "identify.json", "fit.png"
STRICT = ConfigDict(strict=True)
NEAR = 1.0  # of a standard uncertainty: a file holds rounded numbers


class NumberRow(TypedDict):
    """One number that was looked for."""

    __pydantic_config__ = STRICT  # type: ignore[misc]
    told: bool
    why: Text
    value: Number
    sd: Number
    unit: Text
    low: Number
    high: Number
    profiled: bool


class HeldRow(TypedDict):
    """One number that was measured otherwise, or only believed."""

    __pydantic_config__ = STRICT  # type: ignore[misc]
    value: Number
    sd: Number
    assumed: bool
    pull: Number


class LeftRow(TypedDict):
    """What is left over of one course."""

    __pydantic_config__ = STRICT  # type: ignore[misc]
    recording: Text
    channel: Text
    samples: int
    ratio: Number
    white_p: Number
    command_p: Number
    rms: Number
    holdout: bool
    is_noise: bool


class BandRow(TypedDict):
    """One margin with its standard uncertainty."""

    __pydantic_config__ = STRICT  # type: ignore[misc]
    value: Number
    sd: Number


class IdentifyDocument(TypedDict):
    """The whole file, as far as a report looks at it."""

    __pydantic_config__ = STRICT  # type: ignore[misc]
    base: Text
    fits: bool
    all_told: bool
    misfit: list[Text]
    numbers: dict[Text, NumberRow]
    held: dict[Text, HeldRow]
    leftovers: Annotated[list[LeftRow], Field(max_length=1000)]
    margins: dict[Text, BandRow]
    recordings: dict[Text, Text]
    provenance: Provenance


CHECKER: TypeAdapter[IdentifyDocument] = TypeAdapter(IdentifyDocument)


class Identification(NamedTuple):
    """What a bench left behind."""

    document: IdentifyDocument
    png: bytes | None  # of recordings, fit and residuals


def identified_file(place: Path) -> Path:
    """The JSON file of an identification, given its folder or the file itself."""
    return place / FILE if place.is_dir() else place


def read_identified(place: Path, rig: Rig) -> Identification:
    """An identification, held against the rig that the report is about. Raises InputError."""
    path = identified_file(place)
    said = f"--identified {path}"
    document = read_json(path, CHECKER, said, "`cuffloop identify --out`")
    parts = rig_parts(rig)
    for name, row in document["numbers"].items():
        table_name, _, key = name.partition(".")
        ours = getattr(parts.get(table_name), key, None)
        if row["told"] and not (isinstance(ours, float) and abs(ours - row["value"]) <= NEAR * row["sd"]):
            theirs, own = f"{row['value']:.6g}", f"{ours:.6g}" if isinstance(ours, float) else "not there"
            raise InputError(f"{said}: was found on another rig: {one_line(name, 60)} is {theirs} there, and {own} in "
                             f"{rig.name}")
    picture = path.with_name(PICTURE)
    return Identification(document, picture.read_bytes() if picture.is_file() else None)


def identified_section(bench: Identification) -> Section:
    """Numbers with intervals, what was held, what is left over, margins' bands, recordings with hashes, the picture."""
    found = bench.document
    said = "The recordings are explained down to their noise." if found["fits"] else " ".join(found["misfit"])
    body = paragraph(f"Identified over {found['base']} with {found['provenance']['command']}. {said}", "lead")
    body += table(("Number", "Unit", "Found", "Standard uncertainty", "95 % by the recordings alone", "How"),
                  _number_rows(found))
    body += table(("Recording", "Channel", "Samples", "Left over, rms", "Over noise", "Whiteness p", "Command p",
                   "Nothing but noise"), _left_rows(found))
    if found["margins"]:
        bands = "; ".join(f"{name} {row['value']:.4g} ± {row['sd']:.2g}" for name, row in found["margins"].items())
        body += paragraph("Margins with the firmware of the rig that was found, at 90 mmHg, ± one standard "
                          f"uncertainty: {bands}.")
    body += table(("Recording", "SHA-256"), [[name, Code(digest)] for name, digest in found["recordings"].items()])
    if bench.png is not None:
        body += image(bench.png, "Recordings, the rig that was found, and what is left over", "figure-fit", tall=True)
    return Section("identified", "Numbers from the bench", body)


def _number_rows(found: IdentifyDocument) -> list[list[Any]]:
    rows: list[list[Any]] = []
    for name, row in found["numbers"].items():
        span = f"{row['low']:.5g} … {row['high']:.5g}" if row["told"] else "–"
        how = "profile likelihood" if row["profiled"] else "curvature"
        shown = (f"{row['value']:.5g}", f"{row['sd']:.2g}") if row["told"] else ("–", "–")
        rows.append([name, row["unit"], *shown, span, how if row["told"] else f"not told: {row['why']}"])
    for name, held in found["held"].items():
        how = "believed, not measured" if held["assumed"] else "measured otherwise, held"
        rows.append([name, "", f"{held['value']:.5g}", f"{held['sd']:.2g}", "–",
                     f"{how}; pulled by {held['pull']:+.1f} standard uncertainties"])
    return rows


def _left_rows(found: IdentifyDocument) -> list[list[Any]]:
    return [[f"{row['recording']}{' (holdout)' if row['holdout'] else ''}", row["channel"], row["samples"], row["rms"],
             row["ratio"] ** 0.5, row["white_p"], row["command_p"], row["is_noise"]] for row in found["leftovers"]]
