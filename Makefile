# Verbs for people and for CI. Each sets up what it needs in .venv and does everything itself.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test check bench clean
.DEFAULT_GOAL := help

help:
	@echo "make demo | test | check | bench"

$(VENV)/.ready: pyproject.toml constraints.txt
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e ".[dev]"
	@touch $@

demo: $(VENV)/.ready
	$(BIN)/pullstand demo

test: $(VENV)/.ready
	$(BIN)/python -m pytest

check: $(VENV)/.ready
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy

bench: $(VENV)/.ready
	$(BIN)/python -m benchmarks

clean:
	rm -rf $(VENV) dist build
