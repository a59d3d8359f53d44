"""The page's modules as one."""
from experiments.bench import bundle
from experiments.bench.bundle import PAGE, script, style


def test_what_is_needed_comes_first_and_names_stay_apart(tmp_path):
    (tmp_path / "a.js").write_text('// a\nexport const one = 1;\nfunction inner() { return one; }\n'
                                   'export function two() { return inner() + 1; }\n')
    (tmp_path / "b.js").write_text('// b\nimport { one, two } from "./a.js";\n'
                                   'function inner() { return two() + one; }\nexport default { inner };\n')
    made = script(tmp_path / "b.js")
    assert made.index("const one = 1") < made.index("return two() + one")
    assert made.count("export") == 1 and "import" not in made[len(bundle.LIBRARY.read_text()):]
    assert "return { one, two };" in made


def test_the_notebooks_module_has_every_part_once():
    made = script(PAGE / "parts" / "notebook.js")
    for path in [*(PAGE / "parts").glob("*.js"), *(PAGE / "views").glob("*.js")]:
        told = path.read_text().splitlines()[0]
        assert made.count(told) == (0 if path.name == "main.js" else 1), path.name
    assert len(made) < 200_000 and "--paper" in style()
