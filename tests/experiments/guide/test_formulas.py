"""Formulas become MathML, or a complaint; never letters that look like a formula."""
import xml.etree.ElementTree as ET

import pytest

from experiments.guide.build import PAGES
from experiments.guide.formulas import formula

MATHML = "{http://www.w3.org/1998/Math/MathML}"


def test_a_fraction_is_a_fraction():
    found = ET.fromstring(formula(r"\frac{A}{\pi p_1}", block=True))
    assert found.tag == f"{MATHML}math" and found.get("display") == "block"
    above, below = next(found.iter(f"{MATHML}mfrac"))
    assert "".join(above.itertext()) == "A" and "".join(below.itertext()) == "πp1"


def test_inline_is_inline():
    assert ET.fromstring(formula("p_0", block=False)).get("display") == "inline"


@pytest.mark.parametrize("latex", [
    r"\begin{align} a &= b \end{align}", "a & b", r"\nosuchcommand x", "a^{b", r"\left( a", "a_",
])
def test_what_cannot_be_converted_is_refused(latex):
    with pytest.raises(ValueError, match="formula"):
        formula(latex, block=True)


def test_every_formula_of_the_pages_is_well_formed():
    """By an XML parser that knows nothing of the converter; and no command of LaTeX is left over as letters."""
    import re

    count = 0
    for page in PAGES.rglob("*.md"):
        text = re.sub(r"```.*?```|`[^`\n]*`", "", page.read_text(encoding="utf-8"), flags=re.S)
        for block, latex in [(True, m) for m in re.findall(r"\$\$(.+?)\$\$", text, re.S)] + [
                (False, m) for m in re.findall(r"(?<!\$)\$([^$]+?)\$(?!\$)", text)]:
            tree = ET.fromstring(formula(latex, block))
            assert "\\" not in "".join(tree.itertext()), f"{page.name}: {latex}"
            count += 1
    assert count > 30
