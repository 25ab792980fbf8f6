# Verbs for people and for CI. Each sets up what it needs in .venv and does everything itself.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test fuzz check bench clean
.DEFAULT_GOAL := help

help:
	@echo "make demo | test | fuzz | check | bench"

$(VENV)/.ready: pyproject.toml constraints.txt
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e ".[dev]"
	@touch $@

demo: $(VENV)/.ready
	$(BIN)/pullstand demo

test: $(VENV)/.ready
	$(BIN)/python -m pytest

# New random cases each time; what fails is kept as an @example beside its test.
fuzz: $(VENV)/.ready
	HYPOTHESIS_PROFILE=explore $(BIN)/python -m pytest -q tests/property

check: $(VENV)/.ready
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy

bench: $(VENV)/.ready
	$(BIN)/python -m benchmarks

clean:
	rm -rf $(VENV) dist build
