"""Stock A only as far as its B can follow: neither half of a pair is left out. Pure."""

from __future__ import annotations

from dataclasses import replace

from daemon.values import Cap, DoseRequest, Permit, Refusal, Role


def b_for(a: Permit, b_per_a: float) -> DoseRequest:
    """The stock B that belongs to this much of A. b_per_a: mL of B to 1 mL of A."""
    return replace(a.request, pump=Role.STOCK_B, ml=a.ml * b_per_a)


def as_far_as_b(a: Permit, b: Permit | Refusal, smallest_a_ml: float) -> Permit | Refusal:
    """A, cut to what its B may be given now; else the refusal of that B, or of an A too small to deliver."""
    if isinstance(b, Refusal):
        return b
    if b.ml >= b.request.ml:
        return a
    share = b.ml / b.request.ml
    if not a.ml * share >= smallest_a_ml:
        return Refusal(a.request, b.bound_by or Cap.TOO_SMALL, b.numbers)
    return replace(a, ml=a.ml * share, run_s=a.run_s * share, bound_by=b.bound_by)
