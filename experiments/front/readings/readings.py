"""`cuffloop.readings`: what is read from a rig's clamp, from beats to output, with intervals."""
from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from calibrate.level import LevelKnown
from experiments.front.inputs import RecordLike, RigLike, bounded, pressure_on, record_name, rig_of
from experiments.front.public import public
from experiments.front.result import Result
from experiments.readings.beats.reasons import Reason
from experiments.readings.chain import chain
from experiments.readings.chain.by_cuff import CuffReading, cuff_reading, cuff_text
from experiments.readings.chain.chain import USUAL_ESTIMATOR, Known, Servo
from experiments.readings.chain.dataset import readings_dataset
from experiments.readings.chain.text import readings_json, readings_lines, write_beats
from experiments.readings.chain.truth import Truth, truth_of
from experiments.readings.limits.propagate import changes
from experiments.readings.limits.waves import shipped_waves
from experiments.readings.output.variation import Ventilation
from experiments.readings.people.wearer import Wearer, wearer_of
from experiments.readings.servo.inverse import ServoKnown, left
from experiments.readings.servo.rig_servo import rig_servo
from experiments.rigs.rig import Rig
from experiments.simulation import simulate as simulation
from experiments.work.output import OutputFolder, provenance
from experiments.work.progress import watcher
from plant.circulation.person_name import driven_tone, is_person, named_person, named_record
from plant.errors import InputError
from plant.finger.artery import unloaded_pressure

if TYPE_CHECKING:
    import xarray

USUAL_s = 60.0  # of a virtual person
SHORTEST_s = 12.0
BEYOND = 0.25  # of what a loop does: left by valves that are not linear (of the pulse 0.7 of 6 %, 0.5 of 2 on the rigs)


@dataclass(frozen=True)
class ReadingOptions:
    """What is told of the wearer, for readings; a virtual person tells its own age, sex, height and weight."""

    age_years: float | None = None
    sex: str | None = None
    """f or m."""
    height_cm: float | None = None
    weight_kg: float | None = None
    estimator: str = USUAL_ESTIMATOR
    reference_mL: float | None = None
    """Stroke volume by a reference during the run."""
    ventilated: bool = False
    tidal_mL_kg: float | None = None
    venous_mmHg: float = 5.0
    arm: str = "law"
    """From the finger to the upper arm: `law` with a filter for the wave, or `tube`."""
    cuff: tuple[tuple[float, float, float], ...] = ()
    """Readings of an upper-arm cuff during the run: time [s], systolic and diastolic pressure [mmHg]."""


USUAL = ReadingOptions()


@dataclass(frozen=True, eq=False, repr=False)
class ReadingsResult(Result):
    """What `readings` found: columns over beats, means with 90 % intervals, and the truth of a virtual person."""

    found: chain.Readings
    truth: Truth | None
    title: str
    subject: str

    @property
    def file_name(self) -> str:
        """readings."""
        return "readings"

    def lines(self) -> list[str]:
        """Readings with intervals, the constant beside them, variation, resistance, level by cause."""
        return readings_lines(self.found, self.truth, self.title)

    def document(self) -> dict[str, Any]:
        """The same as plain data."""
        return readings_json(self.found, self.truth) | dict(self.told)

    def pictures(self) -> dict[str, Callable[[], Any]]:
        """chain."""
        from experiments.readings.chain.pictures import chain_figure

        return {"chain": lambda: chain_figure(self.found, self.truth, self.title)}

    def to_xarray(self) -> xarray.Dataset:
        """Columns over `beat`; value and interval over `reading`."""
        dataset: xarray.Dataset = readings_dataset(self.found, self.truth, self.attributes())
        return dataset

    def write(self, folder: OutputFolder) -> None:
        """JSON and picture, the table by beat as CSV and NetCDF."""
        super().write(folder)
        folder.write("beats.csv", partial(write_beats, found=self.found, subject=self.subject))
        folder.write_netcdf("readings.nc", self.to_xarray())


@public
def readings(
    rig: RigLike = "wrist", record: RecordLike = None, *, seconds: float | None = None, start_s: float = 0.0,
    seed: int = 1, offset_mmHg: float = 0.0, options: ReadingOptions = USUAL,
) -> ReadingsResult:
    """Run a rig on a pressure record and read its clamp: beats, upper-arm pressure, stroke volume, output, variation.

    Args:
        rig: name, path of a rig file, or what `load_rig` returned.
        record: as for `check`; a virtual person, `person:45f`, has its truth beside the readings.
        seconds: use only so much of the record [s]; of a virtual person 60 without it.
        start_s: begin so far into the record [s].
        seed: of all noise, 0 … 2³² − 1.
        offset_mmHg: transmural offset of the set point from the unloaded volume [mmHg], −60 … 60.
        options: what is told of the wearer, a ReadingOptions.

    Returns:
        A ReadingsResult: `found.summary`, means with 90 % intervals by name; `found.beats`, `found.arm_mmHg`,
        `found.stroke_mL` over beats; `truth`; `plot()` with the figure `chain`; `to_xarray()`, `save(folder)`.

    Raises:
        InputError: as `check`, and for a record with too few beats.

    >>> import cuffloop
    >>> result = cuffloop.readings("wrist", "person:45f", seconds=15)
    >>> result.found.summary["systolic"].holds(result.truth.values["systolic"])
    True
    """
    made = rig_of(rig)
    bounded("--offset", offset_mmHg, -60.0, 60.0, "mmHg")
    name = record_name(record) if isinstance(record, str) or record is None else getattr(record, "name", str(record))
    person = is_person(name)
    wanted = USUAL_s if seconds is None and person and isinstance(record, str) else seconds
    if wanted is not None:
        bounded("--seconds", wanted, SHORTEST_s, 86_400.0, "s")
    trace = pressure_on(made, record, wanted, start_s, seed)
    run = simulation.simulate(made, trace, simulation.Plan(offset_mmHg=offset_mmHg), seed, progress=watcher())
    if run.status != "done":
        raise InputError(f"rig {made.name} on {trace.name}: {run.message}")
    condition = np.where(run.counted, 0, int(Reason.GAP)).astype(np.uint8)
    reading = run.channels["reading_mmHg"]
    known = known_of(made, options, name if person else "", float(np.mean(reading[run.counted])))
    found = chain.readings(reading, run.period_s, condition, known)
    truth = None
    if person and isinstance(record, str):
        course = driven_tone(name, made.tone, run.period_s, trace.duration_s, start_s, seed)
        own = named_record(name, run.period_s, start_s + trace.duration_s, seed, course)
        truth = truth_of(own, found, start_s)
    return ReadingsResult(found, truth, f"{made.name} on {trace.name}", name.partition(",")[0].replace(",", " "),
                          told=provenance(seed))


def known_of(rig: Rig, options: ReadingOptions, person: str, mean_mmHg: float) -> Known:
    """What is told and supposed: wearer, level, ventilation, the rig's servo at a mean reading. Raises InputError."""
    wearer = wearer_of(named_person(person).person) if person else Wearer()
    if options.sex not in (None, "f", "m"):
        raise InputError(f"--sex {options.sex}: is f or m")
    told = (("age_years", options.age_years, 18, 95), ("height_cm", options.height_cm, 120, 220),
            ("weight_kg", options.weight_kg, 30, 250))
    for field, value, low, high in told:
        if value is not None:
            bounded(f"--{field.partition('_')[0]}", value, low, high)
            wearer = wearer._replace(**{field: value})
    if options.sex is not None:
        wearer = wearer._replace(female=1.0 if options.sex == "f" else 0.0)
    if options.reference_mL is not None:
        bounded("--reference", options.reference_mL, 5.0, 300.0, "mL")
    bounded("--venous", options.venous_mmHg, -10.0, 40.0, "mmHg")
    nan = math.nan
    tidal = nan if options.tidal_mL_kg is None else options.tidal_mL_kg
    level = LevelKnown(p0_mmHg=float(unloaded_pressure(rig.plant.artery, rig.tone.level)),
                       transmission=rig.plant.tissue.transmission)
    cuff = tuple(cuff_reading(cuff_text(CuffReading(*one))) for one in options.cuff)
    loop = rig_servo(rig, mean_mmHg + level.p0_mmHg)
    return Known(wearer, level, options.estimator, nan if options.reference_mL is None else options.reference_mL,
                 ventilation=Ventilation(options.ventilated, tidal), venous_mmHg=options.venous_mmHg,
                 servo=servo_of(loop), loop=loop, arm=options.arm, cuff=cuff)


def servo_of(loop: ServoKnown) -> Servo:
    """What is left of a loop's response in readings of virtual people, rms: by the linear loop, and beyond it."""
    waves = shipped_waves()
    found, plain = changes(waves, partial(left, loop)), changes(waves, loop.response)
    systolic, diastolic, mean, _, output = (
        float(np.hypot(np.sqrt(np.mean(now**2)), BEYOND * np.sqrt(np.mean(before**2))))
        for now, before in zip(found, plain, strict=True))
    return Servo(systolic, mean, diastolic, 0.01 * output)
