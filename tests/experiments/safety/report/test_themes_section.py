"""The mapping to IEC 60601-1-10's themes: claims nothing, and points at what is there."""
from experiments.commands.main import app
from experiments.safety.report.themes_section import NOTE, THEMES, themes_section


def test_it_supports_and_does_not_claim():
    body = themes_section(set()).body
    assert "cannot claim" in NOTE and "from memory" in NOTE and "cannot claim" in body
    assert body.count("not in this report") == len(THEMES)


def test_links_lead_to_sections_that_are_there():
    body = themes_section({"margins", "tracking"}).body
    assert 'href="#margins"' in body and 'href="#tracking"' in body and 'href="#faults"' not in body


def test_the_standards_themes_are_all_mapped():
    """Fallback, logging of set point, measured value, output and mode, range limiting, responsiveness [memory]."""
    words = " ".join(f"{theme.name} {theme.what}" for theme in THEMES).lower()
    for theme in ("fallback", "set point, measured value, output and mode", "range limiting", "responsiveness"):
        assert theme in words


def test_commands_exist():
    known = {str(found.name or found.callback.__name__) for found in app.registered_commands}
    assert {theme.command.split()[1] for theme in THEMES} <= known | {"search", "faults"}
