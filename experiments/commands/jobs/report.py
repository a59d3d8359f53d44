"""`cuffloop report`: one self-contained HTML file for the design file, and the failure-mode table as CSV."""
from __future__ import annotations

from pathlib import Path
from typing import Any

from experiments.check.check import check
from experiments.check.text import check_json, verdict_lines
from experiments.commands.jobs.common import pressure_source, progress_bar
from experiments.rigs.requirements import default_requirements, load_requirements
from experiments.rigs.rig import Rig, load_rig
from experiments.rigs.trust import refuse_own_code
from experiments.safety.report.evidence import (
    check_same_rig,
    failures_of,
    limit_words,
    physiology_of,
    read_study,
    study_figures,
    study_file,
)
from experiments.safety.report.failure_table import rows_of, table_csv
from experiments.safety.report.faults_sections import Evidence
from experiments.safety.report.report import report_page
from experiments.safety.report.scales import Scales, default_scales, load_scales
from experiments.work.output import CAUTION, OutputFolder, print_json, print_lines, provenance


def report_job(
    rig_name: str, record: str | None, requirements: Path | None, seconds: float | None, faults: Path | None,
    scales: Path | None, seed: int, settings: list[str] | None, out: Path, as_json: bool,
    trust: bool = False,
) -> int:
    """0 when the rig passes and no failure breaks a limit with all protection, 1 otherwise."""
    if faults is not None:
        refuse_own_code(rig_name, settings, trust, f"--faults {faults}: a study that was there before")
    rig = load_rig(rig_name, settings)
    limits_file, scales_file = requirements or default_requirements(rig.base), scales or default_scales()
    limits, ranks = load_requirements(limits_file), load_scales(scales_file)
    inputs = [limits_file]
    evidence = None
    if faults is not None:
        evidence = evidence_of(faults, rig, rig_name, settings or [], ranks)
        inputs += [scales_file, study_file(faults)]
    trace = pressure_source(rig, record, seconds, 0.0, seed)
    with OutputFolder.open(out) as folder:
        assert folder is not None
        with progress_bar("running the coupled loop", as_json) as progress:
            result = check(rig, trace, limits, seed=seed, progress=progress)
        told = provenance(seed)
        document: dict[str, Any] = check_json(result) | {"faults": faults and str(faults)} | told
        folder.write_text("report.html", report_page(result, evidence, told, inputs))
        folder.write_json("report.json", document)
        if evidence is not None:
            folder.write_text("failure_modes.csv", table_csv(rows_of(evidence.failures, ranks)))
    broken = [f.name for f in evidence.failures if f.protected.broken] if evidence else []
    if as_json:
        print_json(document)
    else:
        lines = [*verdict_lines(result.verdicts), "", f"{'PASS' if result.passed else 'FAIL'}: {rig.name}"]
        if evidence is not None:
            lines.append(f"failures that break a limit with all protection: {', '.join(broken) or 'none'}")
        print_lines([*lines, CAUTION], folder)
    return 0 if result.passed and not broken else 1


def evidence_of(faults: Path, rig: Rig, given: str, settings: list[str], ranks: Scales) -> Evidence:
    """A finished study as evidence. Raises InputError when it is none, or of another rig."""
    study = read_study(faults)
    check_same_rig(study, rig, given, settings, faults)
    hours, alarms = physiology_of(study)
    return Evidence(failures_of(study), limit_words(study), ranks, hours, alarms, study_figures(faults),
                    study["provenance"]["command"], study.get("not_applicable", {}))
