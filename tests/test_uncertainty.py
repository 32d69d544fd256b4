"""docs/uncertainty.md: the Monte Carlo against the linear propagation, and the page against both."""

from __future__ import annotations

import pytest

from tests.uncertainty import CASES, HEAD, PAGE, SEED, TAIL, Case


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{'+'.join(case.names)} at {case.bottle_c:g}")
def test_what_is_drawn_is_what_is_reckoned(case: Case) -> None:
    """Within 10 %, and no mean error beyond a seventh of it: the program's own fit is as straight as that."""
    drawn, mean_error = case.drawn(800, SEED + 1)
    assert drawn == pytest.approx(case.reckoned(), rel=0.10)
    assert abs(mean_error) < case.reckoned() / 7.0


def test_the_page_says_what_the_program_reckons() -> None:
    """Renew it by `python -m tests.uncertainty`."""
    page = PAGE.read_text(encoding="utf-8")
    assert page.startswith(HEAD)
    assert page.endswith(TAIL)
    table = page[len(HEAD) : -len(TAIL)].splitlines()
    assert len(table) == len(CASES)
    for row, case in zip(table, CASES, strict=True):
        cells = [cell.strip() for cell in row.strip("|").split("|")]
        assert cells[0] == ", ".join(case.names) + case.note
        assert cells[4] == f"{case.reckoned():.4f} {case.unit}"
        assert float(cells[3].split()[0]) == pytest.approx(case.reckoned(), rel=0.03)
