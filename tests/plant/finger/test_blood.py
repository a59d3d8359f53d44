"""Absorption of blood: its laws between the tables' values, and what it refuses."""
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.errors import InputError
from plant.finger.blood import EXTINCTION, WATER_PER_CM, MOLAR_MASS_g_mol, Table, blood_absorption

few = settings(max_examples=50, deadline=None)
tables = st.sampled_from(["moaveni", "prahl"])
wavelengths = st.sampled_from([660, 900, 930, 940, 950])
saturations = st.floats(0, 1)
contents = st.floats(50, 250)


@few
@given(tables, wavelengths, saturations, contents)
def test_mixture_of_two_pigments(table: Table, wavelength: int, saturation: float, grams: float) -> None:
    """Linear in saturation between reduced and oxygenated blood, and proportional to haemoglobin."""
    reduced, oxygenated = (blood_absorption(wavelength, s, grams, table) for s in (0.0, 1.0))
    mixed = blood_absorption(wavelength, saturation, grams, table)
    assert mixed == pytest.approx(saturation * oxygenated + (1.0 - saturation) * reduced, rel=1e-12)
    assert blood_absorption(wavelength, saturation, 2.0 * grams, table) == pytest.approx(2.0 * mixed, rel=1e-12)


@few
@given(tables, wavelengths)
def test_decadic_to_natural_once(table: Table, wavelength: int) -> None:
    """One mole per litre of the pigment absorbs ln 10 · ε per centimetre."""
    expected = math.log(10.0) * EXTINCTION[table][wavelength][0]
    assert blood_absorption(wavelength, 1.0, MOLAR_MASS_g_mol[table], table) == pytest.approx(expected, rel=5e-4)


def test_red_and_infrared_cross_over() -> None:
    """Reduced blood is darker in the red, oxygenated blood in the near infrared: why oximetry works."""
    for table in ("moaveni", "prahl"):
        assert blood_absorption(660, 0.0, table=table) > 5.0 * blood_absorption(660, 1.0, table=table)
        assert blood_absorption(940, 0.0, table=table) < blood_absorption(940, 1.0, table=table)


def test_each_table_brings_its_own_molar_mass() -> None:
    """Mixing them must be asked for."""
    own = blood_absorption(940, 0.97, table="prahl")
    assert blood_absorption(940, 0.97, table="prahl", molar_mass_g_mol=64_500.0) == own
    mixed = blood_absorption(940, 0.97, table="prahl", molar_mass_g_mol=66_500.0)
    assert mixed == pytest.approx(own * 64_500.0 / 66_500.0, rel=1e-12)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"wavelength_nm": 805}, ["wavelength_nm", "805", "moaveni", "940"]),
        ({"table": "other"}, ["table", "other", "moaveni", "prahl"]),
        ({"saturation": 1.2}, ["saturation", "1.2", "0 … 1"]),
        ({"saturation": -0.1}, ["saturation", "-0.1"]),
        ({"saturation": float("nan")}, ["saturation", "nan"]),
        ({"saturation": 97.0}, ["saturation", "97", "0 … 1"]),
        ({"haemoglobin_g_L": -150.0}, ["haemoglobin_g_L", "-150", "0"]),
        ({"haemoglobin_g_L": float("nan")}, ["haemoglobin_g_L", "nan"]),
        ({"molar_mass_g_mol": 0.0}, ["molar_mass_g_mol", "0"]),
        ({"molar_mass_g_mol": -1.0}, ["molar_mass_g_mol", "-1"]),
    ],
)
def test_refusals_name_value_and_range(arguments: dict, words: list[str]) -> None:
    """One line, with the key, the value and what is allowed."""
    with pytest.raises(InputError) as refusal:
        blood_absorption(**{"wavelength_nm": 940, "saturation": 0.97, **arguments})
    message = str(refusal.value)
    assert "\n" not in message
    for word in words:
        assert word in message


@pytest.mark.parametrize(("wavelength", "saturation", "per_cm"), [
    (940, 1.0, 6.234), (940, 0.0, 4.156), (660, 1.0, 1.662), (660, 0.0, 16.62), (940, 0.97, 6.171),
])
def test_published_table_at_150_g_L(wavelength: int, saturation: float, per_cm: float) -> None:
    """2.303 ε · 150/66 500 from the Moaveni/Schmitt table, worked out by hand [computed from published values]."""
    assert blood_absorption(wavelength, saturation) == pytest.approx(per_cm, rel=5e-4)


def test_both_tables_and_water_at_the_published_wavelengths() -> None:
    """Oxygenated and reduced, 1/(cm·M): Moaveni/Schmitt and the Prahl compilation [seen]; water [seen second-hand]."""
    assert set(EXTINCTION["moaveni"]) == set(EXTINCTION["prahl"]) == {660, 900, 930, 940, 950}
    assert EXTINCTION["moaveni"][930] == (1240, 800) and EXTINCTION["moaveni"][950] == (1200, 720)
    assert EXTINCTION["prahl"][930] == (1222, 763.84) and EXTINCTION["prahl"][950] == (1204, 602.24)
    assert MOLAR_MASS_g_mol == {"moaveni": 66_500.0, "prahl": 64_500.0}
    assert WATER_PER_CM == {660: 0.0036, 940: 0.29}
