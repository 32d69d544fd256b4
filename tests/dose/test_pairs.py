"""Stock A only as far as its B can follow."""

from __future__ import annotations

import pytest

from daemon.dose.pairs import as_far_as_b, b_for
from daemon.values import Cap, DoseReason, DoseRequest, Permit, Refusal, Role

B_PER_A = 0.8
A = Permit(DoseRequest("bed1", Role.STOCK_A, 12.0, DoseReason.EC_LOW), 10.0, 5.0)
ITS_B = b_for(A, B_PER_A)


def test_b_is_asked_for_what_a_may_give() -> None:
    """Not for what A was asked for: 10 of 12 mL of A want 8 mL of B."""
    assert ITS_B.pump is Role.STOCK_B
    assert ITS_B.ml == pytest.approx(8.0)
    assert ITS_B.reason is DoseReason.EC_LOW


def test_a_goes_whole_where_its_b_does() -> None:
    """A B given in full cuts nothing."""
    assert as_far_as_b(A, Permit(ITS_B, ITS_B.ml, 4.0), 0.5) is A


def test_a_is_cut_as_far_as_its_b_is() -> None:
    """Half of B lets half of A pass, and the cap that bound B is named."""
    allowed = as_far_as_b(A, Permit(ITS_B, ITS_B.ml / 2.0, 2.0, Cap.PER_DAY), 0.5)
    assert isinstance(allowed, Permit)
    assert (allowed.ml, allowed.run_s, allowed.bound_by) == (5.0, 2.5, Cap.PER_DAY)


def test_where_b_is_refused_so_is_a() -> None:
    """No A without any B."""
    refused = Refusal(ITS_B, Cap.BOTTLE)
    assert as_far_as_b(A, refused, 0.5) is refused


@pytest.mark.parametrize(("smallest_ml", "passes"), [(5.0, True), (5.01, False)])
def test_an_a_too_small_to_deliver_is_refused(smallest_ml: float, passes: bool) -> None:
    """What is left of A must be what its pump truly delivers."""
    answer = as_far_as_b(A, Permit(ITS_B, ITS_B.ml / 2.0, 2.0, Cap.PER_DAY), smallest_ml)
    assert isinstance(answer, Permit) is passes
