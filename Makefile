# `make demo` and `make test` need only python3 (3.11+, with venv), pip and make.
PYTHON ?= python3
BIN := .venv/bin
READY := .venv/.ready
READY_DEV := .venv/.ready-dev

.PHONY: demo test check clean

demo: $(READY)
	$(BIN)/boxhold demo $(DEMO_ARGS)

test: $(READY_DEV) check
	$(BIN)/python -m pytest

check: $(READY_DEV)
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports

$(BIN)/python:
	$(PYTHON) -m venv .venv

$(READY): pyproject.toml | $(BIN)/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	touch $@

$(READY_DEV): pyproject.toml | $(BIN)/python
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[dev]'
	touch $@ $(READY)

clean:
	rm -rf .venv build *.egg-info .pytest_cache .mypy_cache .ruff_cache
