"""Light: less of it with more blood, the photodiode's lag, the dark sample, flicker behind them, and the twin."""
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.errors import InputError
from plant.finger.light import (
    FRONT_s,
    Light,
    SETTLING_s,
    ambient_seen,
    blood_depth,
    dark_sample_fits,
    filter_rate_per_s,
    flicker_sample,
    light_intensity,
    light_per_area,
    linear_twin,
    noise_factor,
    path_share,
    photodiode_rate,
    sample_deviation,
)

few = settings(max_examples=60, deadline=None)
shares = st.floats(0, 1)
narrower = st.fixed_dictionaries({  # rigs through which some light still comes
    "emitter": st.floats(0.1, 10), "transmission": st.floats(1e-3, 1), "arterial_absorption_per_cm": st.floats(0.5, 50),
    "arterial_path_cm": st.floats(1e-3, 0.1), "venous_absorption_per_cm": st.floats(0.5, 50),
    "venous_path_cm": st.floats(1e-3, 0.1), "flicker": st.floats(0.001, 1),
    "diffuse_depth": st.one_of(st.just(0.0), st.floats(0.5, 20)),
})
finger = st.tuples(st.from_type(Light), narrower).map(lambda drawn: drawn[0]._replace(**drawn[1]))
plain = finger.map(lambda light: light._replace(dark_ms=0.0))  # no dark sample
beer_lambert = finger.map(lambda light: light._replace(diffuse_depth=0.0))


@few
@given(plain, shares, shares, st.floats(0.01, 0.5))
def test_light_falls_when_blood_comes(light: Light, area: float, veins: float, more: float) -> None:
    """More arterial area or more venous blood, less light; never less than the ambient light."""
    lit = light_intensity(light, area, veins, 0.1)
    assert 0.1 < light_intensity(light, area + more, veins, 0.1) < lit
    assert 0.1 < light_intensity(light, area, veins + more, 0.1) < lit


@few
@given(plain, shares, shares, shares, st.floats(0.2, 5))
def test_lamp_scales_and_ambient_adds(light: Light, area: float, veins: float, ambient: float, factor: float) -> None:
    """The lamp multiplies what passes the finger; ambient light is added and not multiplied."""
    own = light_intensity(light, area, veins, 0.0)
    brighter = light._replace(emitter=factor * light.emitter)
    assert light_intensity(brighter, area, veins, ambient) - ambient == pytest.approx(factor * own, rel=1e-9, abs=1e-14)
    bare = light_intensity(light, 0.0, 0.0, 0.0)
    assert bare == pytest.approx(light.emitter * light.transmission, rel=1e-15)


@few
@given(beer_lambert, shares, shares)
def test_optical_depths_add(light: Light, area: float, veins: float) -> None:
    """Beer–Lambert: the depth of artery and vein together is the sum of each alone."""
    bare = light_intensity(light, 0.0, 0.0, 0.0)
    alone = light_intensity(light, area, 0.0, 0.0) * light_intensity(light, 0.0, veins, 0.0)
    assert light_intensity(light, area, veins, 0.0) * bare == pytest.approx(alone, rel=1e-12)


@few
@given(finger, shares, shares)
def test_twin_is_the_slope_of_the_compiled_functions(light: Light, area: float, veins: float) -> None:
    """A and B by central differences of photodiode_rate(light_intensity) over signal, area and venous volume."""
    twin, step = linear_twin(light, area, veins), 1e-5

    def rate(signal: float, a: float, v: float) -> float:
        return photodiode_rate(light, signal, light_intensity(light, a, v, 0.02))

    level = light_intensity(light, area, veins, 0.02)
    slopes = [
        rate(level + step, area, veins) - rate(level - step, area, veins),
        rate(level, area + step, veins) - rate(level, area - step, veins),
        rate(level, area, veins + step) - rate(level, area, veins - step),
    ]
    np.testing.assert_allclose(np.array(slopes) / (2.0 * step), [twin.a[0, 0], *twin.b[0]], rtol=1e-6, atol=1e-5)
    assert rate(level, area, veins) == 0.0


@few
@given(plain)
def test_half_power_at_the_bandwidth(light: Light) -> None:
    """|G| falls to 1/√2 of its value at rest at the −3 dB frequency, and the phase to −45°: the definition."""
    twin = linear_twin(light, 0.5, 0.2)
    slow, corner = twin.response("light", "area", 2.0 * math.pi * light.bandwidth_Hz * np.array([1e-9, 1.0]))
    assert abs(corner / slow) == pytest.approx(1.0 / math.sqrt(2.0), rel=1e-9)
    assert np.degrees(np.angle(corner / slow)) == pytest.approx(-45.0, abs=1e-6)


@few
@given(plain, st.floats(0, 10))
def test_flicker_is_the_filtered_sine(light: Light, time_s: float) -> None:
    """The closed form obeys the photodiode's own equation under a sine of the flicker's frequency."""
    step = 1e-4 / light.flicker_Hz
    rise = flicker_sample(light, time_s + step) - flicker_sample(light, time_s - step)
    sine = light.flicker * math.sin(2.0 * math.pi * light.flicker_Hz * time_s)
    rate = photodiode_rate(light, flicker_sample(light, time_s), sine)
    assert rise / (2.0 * step) == pytest.approx(rate, rel=1e-4, abs=1e-4 * light.flicker * light.flicker_Hz)


def test_noise_of_a_sample_is_white_noise_and_steps() -> None:
    """Quantised Gaussian samples have that deviation (Sheppard, from memory)."""
    light = Light(noise=2e-3, bits=8)
    samples = np.round(np.random.default_rng(1).normal(0.5, light.noise, 200_000) * 256.0) / 256.0
    assert np.std(samples) == pytest.approx(sample_deviation(light), rel=0.02)
    assert sample_deviation(Light(noise=3e-4, bits=0)) == 3e-4


# --- light that diffuses --------------------------------------------------------------------------------------------


@few
@given(finger, shares, shares, st.floats(0.5, 20))
def test_diffusing_light_takes_a_shorter_path_through_more_blood(
    light: Light, area: float, veins: float, depth: float
) -> None:
    """Depth Λ(√(1 + 2x/Λ) − 1): x to first order, less beyond; Λ → ∞ is Beer–Lambert; its slope is the path left."""
    diffuse, straight = light._replace(diffuse_depth=depth, dark_ms=0.0), light._replace(diffuse_depth=0.0, dark_ms=0.0)
    blood = blood_depth(light, area, veins)
    bare = light.emitter * light.transmission
    seen = -math.log(light_intensity(diffuse, area, veins, 0.0) / bare)
    assert seen == pytest.approx(depth * (math.sqrt(1.0 + 2.0 * blood / depth) - 1.0), rel=1e-9, abs=1e-12)
    assert seen <= -math.log(light_intensity(straight, area, veins, 0.0) / bare) + 1e-12
    assert path_share(diffuse, blood) == pytest.approx(1.0 / math.sqrt(1.0 + 2.0 * blood / depth), rel=1e-12)
    assert path_share(straight, blood) == 1.0
    wide = light._replace(diffuse_depth=1e9, dark_ms=0.0)
    assert light_intensity(wide, area, veins, 0.0) == pytest.approx(
        light_intensity(straight, area, veins, 0.0), rel=1e-6)


@few
@given(finger, shares, shares)
def test_light_per_area_is_the_slope(light: Light, area: float, veins: float) -> None:
    """By central differences, diffusing or not."""
    step = 1e-5
    fall = light_intensity(light, area - step, veins, 0.0) - light_intensity(light, area + step, veins, 0.0)
    found = light_per_area(light, area, veins)
    assert found == pytest.approx(fall / (2.0 * step), rel=1e-5, abs=1e-9)


# --- dark sample ----------------------------------------------------------------------------------------------------


def test_a_dark_sample_takes_ambient_light_off_for_time_and_noise() -> None:
    """0.2 ms dark, 0.5 ms lit: no ambient light, τ of 0.25 + 0.04 ms, noise √(1 + 5/2) times that of the wider band."""
    plain, dark = Light(bandwidth_Hz=700.0), Light(bandwidth_Hz=700.0, dark_ms=0.2)
    assert ambient_seen(plain, 0.3) == 0.3 and ambient_seen(dark, 0.3) == 0.0
    assert light_intensity(dark, 0.5, 0.2, 0.3) == light_intensity(plain, 0.5, 0.2, 0.0)
    assert 1.0 / filter_rate_per_s(dark) == pytest.approx(0.25e-3 + FRONT_s, rel=1e-12)
    assert filter_rate_per_s(plain) == pytest.approx(2.0 * math.pi * 700.0, rel=1e-12)
    band = (1.0 / 1e-3) / (0.5 * math.pi * 700.0)
    assert noise_factor(plain) == 1.0
    assert noise_factor(dark) == pytest.approx(math.sqrt(3.5 * band), rel=1e-12)
    assert sample_deviation(dark) == pytest.approx(
        math.hypot(2e-5 * math.sqrt(3.5 * band), 2.0**-16 / math.sqrt(6.0)), rel=1e-12)


@few
@given(st.floats(0.05, 1), st.floats(0.05, 2), st.floats(20, 400), st.floats(0, 1))
def test_flicker_behind_a_dark_sample_is_a_difference(dark: float, lit: float, hertz: float, time_s: float) -> None:
    """What is left is the filtered sine less itself Δ earlier, 2 sin(πfΔ) of it: slow changes go."""
    light = Light(flicker=0.01, flicker_Hz=hertz, dark_ms=dark, lit_ms=lit)
    apart = 5e-4 * (dark + lit) + SETTLING_s
    ratio = 2.0 * math.pi * hertz / filter_rate_per_s(light)
    lag = math.atan(ratio)

    def sine(time: float) -> float:
        return 0.01 / math.hypot(1.0, ratio) * math.sin(2.0 * math.pi * hertz * time - lag)

    assert flicker_sample(light, time_s) == pytest.approx(sine(time_s) - sine(time_s - apart), abs=1e-6)


def test_a_dark_sample_must_fit_its_tick() -> None:
    """Dark, settling and lit window within the tick; without a dark sample nothing is asked."""
    dark_sample_fits(Light(dark_ms=0.2, lit_ms=0.5), 1e-3)
    dark_sample_fits(Light(dark_ms=0.0, lit_ms=5.0), 1e-3)
    with pytest.raises(InputError, match=r"light\.dark_ms = 0\.5 .* take 1\.15 ms of a tick of 1 ms"):
        dark_sample_fits(Light(dark_ms=0.5, lit_ms=0.5), 1e-3)
