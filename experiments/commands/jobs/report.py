"""`cuffloop report`: one self-contained HTML file for the design file, and the failure-mode table as CSV."""
from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from experiments.bench.offline.section import live_section
from experiments.check.text import check_json, verdict_lines
from experiments.commands.jobs.common import Options, progress_bar, record_from, rig_from
from experiments.front.check import check
from experiments.readings.limits.pictures import require_figure
from experiments.readings.limits.solve import Wanted
from experiments.readings.limits.study import required
from experiments.rigs.rationale import own_about
from experiments.rigs.requirements import default_requirements
from experiments.rigs.rig import NOMINAL_mmHg, Rig
from experiments.rigs.trust import refuse_own_code
from experiments.safety.faults.findings import uncontained
from experiments.safety.faults.first_minute import answer_lines, first_minute, headline
from experiments.safety.report.evidence import (
    check_same_rig,
    failures_of,
    limit_values,
    limit_words,
    physiology_of,
    read_study,
    study_figures,
    study_file,
)
from experiments.safety.report.failure_table import rows_of, table_csv
from experiments.safety.report.faults_sections import Evidence
from experiments.safety.report.identified import identified_file, identified_section, read_identified
from experiments.safety.report.page import Section
from experiments.safety.report.report import report_page
from experiments.safety.report.scales import Scales, default_scales, load_scales
from experiments.trend.document import TrendDocument, read_trend, trend_file, trend_pictures
from experiments.trend.section import readings_section
from experiments.work.output import CAUTION, OutputFolder, print_json, print_lines
from experiments.work.progress import progress

USUAL_FOLDER = Path("report")
USUAL_WANTED = Wanted(output_percent=5.0, systolic_mmHg=2.0, diastolic_mmHg=1.0)  # limits drawn in the picture


@dataclass(frozen=True, kw_only=True)
class ReportOptions(Options):
    """What `cuffloop report` takes; results go to `out` or, without one, to a folder `report`."""

    rig: str = "wrist"
    record: str | None = None
    columns: str | None = None
    requirements: Path | None = None
    seconds: float | None = None
    faults: Path | None = None
    identified: Path | None = None
    scales: Path | None = None
    trend: Path | None = None
    seed: int = 1
    trust: bool = False


def report_job(options: ReportOptions) -> int:
    """0 when the rig passes and no failure breaks a limit with all protection, 1 otherwise."""
    if options.faults is not None:
        where = f"--faults {options.faults}: a study that was there before"
        refuse_own_code(options.rig, options.setting, options.trust, where)
    rig = rig_from(options.rig, options)
    limits_file = options.requirements or default_requirements(rig.base)
    scales_file = options.scales or default_scales()
    ranks, inputs, evidence = load_scales(scales_file), [limits_file], None
    if options.faults is not None:
        evidence = evidence_of(options.faults, rig, options.rig, options.setting or [], ranks)
        inputs += [scales_file, study_file(options.faults)]
    bench = None
    if options.identified is not None:
        bench = read_identified(options.identified, rig)
        inputs.append(identified_file(options.identified))
    hours = None if options.trend is None else read_trend(options.trend, rig)
    if options.trend is not None:
        inputs.append(trend_file(options.trend))
    with OutputFolder.open(options.out or USUAL_FOLDER) as folder:
        assert folder is not None
        with progress_bar("running the coupled loop", options.as_json) as bar, progress(bar):
            record = record_from(options.record, options.columns, options.seconds)
            result = check(rig, record, requirements=limits_file, seconds=options.seconds, seed=options.seed)
        told = dict(result.told)
        failures = evidence.failures if evidence else None
        broken, said = [f.name for f in uncontained(failures or [])], headline(rig.name, result.passed, failures)
        document: dict[str, Any] = check_json(result.found) | {
            "faults": options.faults and str(options.faults),
            "identified": options.identified and str(options.identified),
            "verdict": said, "requirements_kept": result.passed,
            "not_contained": None if failures is None else broken, "passed": result.passed and not broken} | told
        live = live_section(rig, result.found.run.trace, str(told["provenance"]["command"]))
        more = [*([identified_section(bench)] if bench else []), readings_part(rig, options.trend, hours), live]
        folder.write_text("report.html", report_page(
            result.found, evidence, told, inputs, own_about(limits_file), more))
        folder.write_json("report.json", document)
        if evidence is not None:
            folder.write_text("failure_modes.csv", table_csv(rows_of(evidence.failures, ranks)))
    if options.as_json:
        print_json(document)
    else:
        short = answer_lines(first_minute(failures)) if failures else []
        print_lines([said, *short, "", *verdict_lines(result.found.verdicts), CAUTION], folder)
    return 0 if result.passed and not broken else 1


def readings_part(rig: Rig, place: Path | None, hours: TrendDocument | None) -> Section:
    """What the loop does to readings, and the hours of `cuffloop trend` where they are given."""
    found = required(rig, USUAL_WANTED, NOMINAL_mmHg)
    pictures = {} if place is None or hours is None else trend_pictures(place, hours)
    return readings_section(found, require_figure(found), hours, pictures)


def evidence_of(faults: Path, rig: Rig, given: str, settings: list[str], ranks: Scales) -> Evidence:
    """A finished study as evidence. Raises InputError when it is none, or of another rig."""
    study = read_study(faults)
    check_same_rig(study, rig, given, settings, faults)
    hours, alarms = physiology_of(study)
    return Evidence(failures_of(study), limit_words(study), ranks, hours, alarms, study_figures(faults),
                    study["provenance"]["command"], study.get("not_applicable", {}), limit_values(study))
