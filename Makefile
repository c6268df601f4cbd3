# Two commands for everybody:   make demo   make test
# Both work through .venv, which is made and reused here; nothing is installed outside it and nothing asks for root.
PYTHON ?= python3
VENV := .venv
# Many tests wait for real processes: one worker more than the two cores of a small machine.
JOBS ?= 3
BIN := $(VENV)/bin
# Debian's python3 without python3-venv cannot make an environment with pip: say so in words.
NEED_VENV := "This needs Python 3.11 or newer with its venv module (Debian, Raspberry Pi OS: apt install python3-venv)."

.DEFAULT_GOAL := help
.PHONY: help demo test lint winter schema alarms long faults tubs powercuts year bench morning plants drift greybox clean

help:
	@echo "make demo    three winter nights on a simulated shelf, in under a minute"
	@echo "make test    every test, the linters and the import contracts"
	@echo "make winter  33 recorded winter days in which the heating fails for 106 h"
	@echo "make long    the property tests again, for much longer"
	@echo "make faults  every single fault; writes tests/faults/table.md and process_table.md"
	@echo "make tubs    the heat watch over a wide grid of healthy and sick tubs, half an hour"
	@echo "make powercuts  a thousand simulated power cuts and a thousand kills of the record (needs a C compiler)"
	@echo "make year    a record of 64 tubs over a year, and what its questions take; some ten minutes, 2 GB"
	@echo "make lint    ruff, mypy --strict, import contracts only"
	@echo "make schema  write config/matwarden.schema.json anew from the settings model"
	@echo "make alarms  write the table of alarms in the README, and their texts in tests/core, anew"
	@echo "make bench   what the budgets ask for, measured; some five minutes (ONLY=\"start memory\" for single ones)"
	@echo "make morning  write the demo's digest and picture into the README anew"
	@echo "make plants  what is said of forty random tubs, beside what is true of them; some minutes"
	@echo "make greybox  a recorded building predicted by our fit and by a general-purpose library; two minutes"
	@echo "make clean   remove .venv and what the runs left behind"

$(BIN)/python:
	@$(PYTHON) -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' || { echo $(NEED_VENV) >&2; exit 1; }
	$(PYTHON) -m venv $(VENV)

# What the program and its demo need.
$(VENV)/.demo: pyproject.toml | $(BIN)/python
	$(BIN)/pip install --quiet --disable-pip-version-check --editable '.[demo]'
	@touch $@

# What a contributor needs as well.
$(VENV)/.dev: pyproject.toml tests/requirements.txt | $(BIN)/python
	$(BIN)/pip install --quiet --disable-pip-version-check --editable '.[demo,report]' --requirement tests/requirements.txt
	@touch $@ $(VENV)/.demo

demo: $(VENV)/.demo
	$(BIN)/matwarden demo

# A file's tests stay together: some share a broker or a service manager.
test: $(VENV)/.dev lint
	$(BIN)/pytest --numprocesses=$(JOBS) --dist=loadfile --no-loadscope-reorder

lint: $(VENV)/.dev
	$(BIN)/ruff check daemon hardware tests
	$(BIN)/ruff format --check daemon hardware tests
	$(BIN)/mypy
	$(BIN)/lint-imports

winter: $(VENV)/.dev
	$(BIN)/python tests/winter/run_winter.py

long: $(VENV)/.dev
	MATWARDEN_HYPOTHESIS=long $(BIN)/pytest --timeout=3600 -s tests/core tests/station

faults: $(VENV)/.dev
	$(BIN)/python tests/faults/run_faults.py

tubs: $(VENV)/.dev
	$(BIN)/python tests/faults/run_tubs.py

powercuts: $(VENV)/.dev
	$(BIN)/python tests/storage/run_power_cuts.py

year: $(VENV)/.dev
	PYTHONPATH=tests $(BIN)/python tests/storage/year_store.py

# ONLY: names of single benches. README=1: the table goes into the README.
bench: $(VENV)/.dev
	PYTHONPATH=tests $(BIN)/python tests/bench/run_bench.py $(ONLY) $(if $(README),--readme)

plants: $(VENV)/.dev
	PYTHONPATH=tests $(BIN)/python tests/analysis/run_plants.py

drift: $(VENV)/.dev
	PYTHONPATH=tests $(BIN)/python tests/analysis/run_drift.py

greybox: $(VENV)/.dev
	PYTHONPATH=tests $(BIN)/python tests/analysis/run_greybox.py

schema: $(VENV)/.dev
	$(BIN)/python -m matwarden.settings.schema

morning: $(VENV)/.dev
	$(BIN)/python tests/morning.py

alarms: $(VENV)/.dev
	$(BIN)/python -m matwarden.report.alarm_table_text README.md
	PYTHONPATH=tests $(BIN)/python -m alarm_texts tests/core/alarm_texts.txt

clean:
	rm -rf $(VENV) .venv-greybox demo-run winter-run .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
