# Everything happens in .venv, which each target sets up by itself; a second run finds it done.
#   make demo    a simulated reservoir, kept before your eyes (DEMO_MINUTES=2 ends by itself)
#   make test    the tests                    make bench   the figures
#                (ARGS="-k permit" for some of them; ALL=1 for every case of the crash grids, about an hour)
#   make check   style, types, service unit   make lock    renew requirements.lock
#   make campaign   months with faults, seed by seed (ARGS="--seeds 100 --jobs 4")
#   make mutants    each protection taken out in turn, a test must fail (ARGS="--jobs 2", "--only keeper")
#   make PYTHON=/usr/bin/python3.12 …         take another Python (3.11 or newer)

PYTHON ?= python3
BIN := .venv/bin
READY := .venv/ready

.DEFAULT_GOAL := help
.PHONY: help demo test bench campaign mutants check lock clean

help:
	@sed -n 's/^#   //p' Makefile

$(READY): requirements.lock pyproject.toml .ci/setup systemd/venv.sh
	@sh .ci/setup "$(PYTHON)"

demo: $(READY)
	@$(BIN)/evenwater demo

test: $(READY)
	@sh .ci/broker
	@sh .ci/browser
	@EVENWATER_ALL=$(ALL) $(BIN)/python -m pytest -n 2 $(ARGS)

bench: $(READY)
	@$(BIN)/python -m tests.bench

campaign: $(READY)
	@$(BIN)/python -m tests.campaign $(ARGS)

mutants: $(READY)
	@$(BIN)/python -m tests.mutants $(ARGS)

check: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	@sh .ci/units

lock:
	@sh .ci/lock "$(PYTHON)"

clean:
	rm -rf .venv .mypy_cache .pytest_cache .ruff_cache .hypothesis build dist
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
