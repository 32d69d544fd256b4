"""Months with faults: the whole program on stepped benches, seed by seed. `python -m tests.campaign --help`."""
