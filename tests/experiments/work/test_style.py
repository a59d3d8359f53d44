"""Shared looks: colours that stay apart, labels, the caution, and saving without a screen."""
import itertools

import pytest

from experiments.work import style as figure_style
from experiments.work.style import CAUTION, SIDE_COLOURS, SIDE_LINES, new_figure, save, stamp, tidy

COLOURS = {name: getattr(figure_style, name)
           for name in ("BLUE", "ORANGE", "GREEN", "VIOLET", "SKY", "AMBER", "GREY")}


def linear_rgb(colour):
    """Linear light of an sRGB colour (IEC 61966-2-1)."""
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    return [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]


def luminance(colour):
    """Relative luminance (WCAG 2, from memory)."""
    return sum(w * v for w, v in zip((0.2126, 0.7152, 0.0722), linear_rgb(colour), strict=True))


def seen(colour, kind):
    """Linear light as seen with a full colour-vision deficiency (Viénot, Brettel & Mollon 1999; from memory)."""
    red, green, blue = linear_rgb(colour)
    if kind == "protan":
        both = 0.1124 * red + 0.8876 * green
        return both, both, 0.0040 * red - 0.0040 * green + blue
    both = 0.2927 * red + 0.7073 * green
    return both, both, -0.0223 * red + 0.0223 * green + blue


@pytest.mark.parametrize("kind", ["protan", "deutan"])
def test_colours_stay_apart_without_red_or_green_vision(kind):
    for first, second in itertools.combinations(COLOURS.values(), 2):
        a, b = seen(first, kind), seen(second, kind)
        assert sum((x - y) ** 2 for x, y in zip(a, b, strict=True)) ** 0.5 > 0.06, (first, second)


def test_lines_do_not_lean_on_colour_alone():
    assert set(SIDE_COLOURS) == set(SIDE_LINES) == {"fill", "vent"}
    assert len(set(SIDE_LINES.values())) == len(set(SIDE_COLOURS.values())) == 2


@pytest.mark.parametrize("name", ["BLUE", "ORANGE", "GREEN", "GREY"])
def test_lines_stand_out_from_white(name):
    """Contrast of at least 3 to 1, as WCAG asks of graphics."""
    assert 1.05 / (luminance(COLOURS[name]) + 0.05) >= 3.0


def test_labels_and_caution():
    figure = new_figure(4.0, 3.0)
    axes = figure.subplots()
    tidy(axes, "time (s)", "pressure (mmHg)")
    stamp(figure, "wrist")
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("time (s)", "pressure (mmHg)")
    assert not axes.spines["top"].get_visible() and axes.spines["left"].get_visible()
    assert figure.get_supxlabel() == f"wrist  ·  {CAUTION}" and "not a medical device" in CAUTION


def test_a_png_whatever_the_name(tmp_path):
    figure = new_figure(2.0, 1.0)
    save(figure, tmp_path / "figure.part")
    content = (tmp_path / "figure.part").read_bytes()
    assert content.startswith(b"\x89PNG\r\n\x1a\n")
    assert int.from_bytes(content[16:20], "big") == 220 and int.from_bytes(content[20:24], "big") == 110
