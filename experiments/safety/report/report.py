"""One self-contained report for a design file: everything that the runs showed, and how to repeat them."""
from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from experiments.check.check import Check
from experiments.rigs.rationale import About, identifier_of
from experiments.rigs.table import rig_json
from experiments.safety.faults.first_minute import headline
from experiments.safety.report.check_sections import check_sections, rig_section
from experiments.safety.report.faults_sections import Evidence, faults_sections, short_answer
from experiments.safety.report.page import Code, Raw, Section, answers, bullets, link, page, paragraph, table, text
from experiments.safety.report.themes_section import themes_section
from experiments.work.output import CAUTION, plain

STANDARDS = (
    "Work on people follows the applicable standards (among them ISO 14971, IEC 60601-1, IEC 60601-1-10, "
    "IEC 80601-2-30, ISO 81060-2 and -3, IEC 62304), local codes and licensed practice.",
    "All numbers hold for the parameters of this rig and for virtual fingers, most of them invented. They are no "
    "statement about any person or any instrument that has been built.",
    "Limits of cuff pressure follow IEC 80601-2-30 by analogy and from memory; its scope is intermittent cuffs. A "
    "continuous cuff differs, and the user must decide which limits apply.",
)


def report_page(
    result: Check, evidence: Evidence | None, document: dict[str, Any], inputs: list[Path],
    own: dict[str, About] | None = None, more: Sequence[Section] = (),
) -> str:
    """The whole report as HTML. `document` holds the provenance; `inputs` are files whose contents are pinned down;
    `own` are identifiers and rationales of the requirements file; `more` are sections that others have made.
    """
    command = str(document["provenance"]["command"])
    failed = [v for v in result.verdicts if not v.passed]
    lead = paragraph(CAUTION, "caution")
    kept = f"{len(result.verdicts) - len(failed)} of {len(result.verdicts)} kept"
    kept += f"; not kept: {', '.join(f'{identifier_of(v, own)} {v.figure}' for v in failed)}" if failed else ""
    lines: list[tuple[str, str]] = list(short_answer(evidence)) if evidence else [
        ("Failures", "No study of failures is part of this report, so that nothing is known of them.")]
    lines.append(("Requirements", Raw(f"{text(kept)} ({link('requirements')}).")))
    said = headline(result.rig.name, result.passed, None if evidence is None else evidence.failures)
    lead += f'<div class="short"><h2>{text(said)}</h2>{answers(lines)}</div>'
    sections = check_sections(result, command, own)
    if evidence:
        sections += faults_sections(evidence)
    sections += more
    anchors = {section.anchor for section in sections}
    sections += [
        themes_section(anchors), provenance_section(result, document, inputs),
        Section("cautions", "Cautions", bullets((CAUTION, *STANDARDS))), rig_section(result),
    ]
    return page(f"cuffloop report: rig {result.rig.name} on the record {result.run.trace.name}", lead, sections)


def provenance_section(result: Check, document: dict[str, Any], inputs: list[Path]) -> Section:
    """Command, commit, Python, platform, versions, seed, and hashes of what went in."""
    found = document["provenance"]
    rows = [
        ["command", Code(found["command"])], ["cuffloop", found["cuffloop"]], ["commit", Code(found["commit"])],
        ["Python", found["python"]], ["platform", Code(found["platform"])], ["seed", str(found["seed"])],
        *([name, number] for name, number in found["libraries"].items()),
        ["rig, all parameters (SHA-256)", digest(repr(plain(rig_json(result.rig))).encode())],
        ["pressure record on the tick grid (SHA-256)", digest(result.run.trace.pressure_mmHg.tobytes())],
        *([Code(f"{path} (SHA-256)"), digest(path.read_bytes())] for path in inputs),
    ]
    return Section("provenance", "Provenance", table(("What", "Value"), rows))


def digest(data: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(data).hexdigest()
