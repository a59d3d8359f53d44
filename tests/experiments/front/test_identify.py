"""`cuffloop.excite` and `cuffloop.identify`: commands for a bench, and from a sheet to a rig, from Python."""
import pytest

import cuffloop
from tests.experiments.front.front_bench import doctests_of, is_whole


def test_commands_are_planned_and_played(tmp_path):
    """With a virtual bench that plays them, recordings and the measured volume are written, too."""
    found = cuffloop.excite("cabinet", ["timing"], seconds=3, rate_Hz=2000, play="cabinet")
    own = {f"{kind}{end}" for kind in ("click", "step") for end in (".csv", "_command.csv")}
    is_whole(found, {"excite"}, tmp_path / "out", {"excite.json", "excite.png", "sheet.toml", *own})
    assert '"cuff.volume_mL" = {' in (tmp_path / "out" / "sheet.toml").read_text()


def test_what_is_out_of_range_of_a_plan():
    for options in ({"seconds": 0.1}, {"ceiling_mmHg": 5}, {"rate_Hz": 10}, {"seed": -1}):
        with pytest.raises(cuffloop.InputError):
            cuffloop.excite("cabinet", ["timing"], **options)


def test_light_is_asked_for_alone():
    with pytest.raises(cuffloop.InputError, match="a plan and a sheet of its own"):
        cuffloop.excite("wrist", ["light", "valve"])


@pytest.mark.slow
def test_light_has_a_sheet_of_its_own(tmp_path):
    """Lamp and ramp are planned, played, read, identified; what nobody has measured of the veins is held and said."""
    truth = cuffloop.load_rig("wrist", {"light.transmission": 0.5, "light.bandwidth_Hz": 320.0})
    plan = cuffloop.excite("wrist", ["light"], play=truth)
    is_whole(plan, {"excite"}, tmp_path, {"excite.json", "excite.png", "sheet.toml", "lamp.csv", "lamp_command.csv",
                                          "ramp.csv"})
    found = cuffloop.identify(tmp_path / "sheet.toml", free=["light.transmission", "light.bandwidth_Hz"], full=False)
    assert found.passed and abs(found.rig.plant.light.transmission - 0.5) < 1e-4
    assert abs(found.rig.plant.light.bandwidth_Hz - 320.0) < 0.1 and "light_slope_per_mmHg" in str(found)
    assert {h.free.name for h in found.account.found.held if h.assumed} == {"vein.least_volume"}
    with pytest.raises(cuffloop.InputError, match=r"valve.dead_band: no number of light, artery, vein, tissue"):
        cuffloop.identify(tmp_path / "sheet.toml", free=["valve.dead_band"])


@pytest.fixture(scope="module")
def sheet(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    truth = cuffloop.load_rig("cabinet", {"timing.dead_time_s": 0.0013})
    cuffloop.excite("cabinet", ["timing"], seconds=1.5, play=truth, rate_Hz=2000).save(folder)
    return folder / "sheet.toml"


def test_the_result(sheet, tmp_path):
    found = cuffloop.identify(sheet, free=["timing"], full=False)
    assert found.passed and abs(found.rig.timing.dead_time_s - 0.0013) < 2e-5
    is_whole(found, {"fit"}, tmp_path / "out", {"identify.json", "identify.nc", "fit.png", "found.toml"})
    assert cuffloop.load_rig(tmp_path / "out" / "found.toml").timing.dead_time_s == pytest.approx(0.0013, abs=2e-5)


def test_what_was_measured_may_be_given(sheet):
    found = cuffloop.identify(sheet, free=["timing"], full=False, known={"cuff.volume_mL": (2.5, 0.01)})
    assert found.account.found.held[0].sd == 0.01 and not found.account.found.held[0].assumed


@pytest.mark.slow
def test_a_wrong_rig_writes_nothing(sheet, tmp_path):
    """The cabinet's recordings over one with half the tube: not explained, and no rig file."""
    base = tmp_path / "half.toml"
    base.write_text('base = "cabinet"\n[tube]\nlength_m = 0.6\n')
    found = cuffloop.identify(sheet, base=base, free=["timing"], full=False, starts=1)
    assert not found.passed and "NOT explained" in str(found)
    assert "found.toml" not in found.save(tmp_path / "out")
    assert "found.toml" in cuffloop.identify(sheet, base=base, free=["timing"], full=False, starts=1,
                                             accept_misfit=True).save(tmp_path / "other")


@pytest.mark.parametrize("options", [{"starts": 0}, {"free": ["lamp"]}, {"known": {"cuff.volume_mL": (900.0, 1.0)}},
                                     {"known": {"nothing.x": (1.0, 0.1)}}, {"base": "nobody"},
                                     {"free": ["timing"], "known": {"timing.dead_time_s": (0.001, 0.0)}}])
def test_bad_input(sheet, options):
    with pytest.raises(cuffloop.InputError):
        cuffloop.identify(sheet, **options)


def test_examples():
    doctests_of("identify")
