"""The first row that is no row of numbers, and what is said of it."""
import pytest

from plant.row_fault import row_fault


@pytest.mark.parametrize(("rows", "told"), [
    (["1,2", "3"], "f: line 3: 1 cells in '3', 2 are needed"),
    (["1,2", "", "3,4,5"], "f: line 4: 3 cells in '3,4,5', 2 are needed (decimal comma, or another separator?)"),
    (["1;2"], "f: line 2: 1 cells in '1;2', 2 are needed (decimal comma, or another separator?)"),
    (["1,2", "3,x\x1b"], "f: line 3: p = 'x\\x1b' is not a number"),
    (["1,1_000"], "f: line 2: p = '1_000' is not a number"),
    (["1,2"], "f: rows could not be read as numbers"),
])
def test_the_first_row_that_is_none(rows: list[str], told: str) -> None:
    assert row_fault((f"{row}\n" for row in ["t,p", *rows]), "f", ("t", "p")) == told
