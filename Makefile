# Two commands do everything on a machine with Python 3.11 or later and make:
#   make demo   installs into .venv, checks and builds the example site, shows what to look at
#   make test   installs and passes the tests

PYTHON ?= python3
# Tests start the program some thousand times: compiled modules are kept, whatever the machine says.
export PYTHONDONTWRITEBYTECODE =
VENV := .venv
BIN := $(VENV)/bin
# The example's book is committed as of this day, so that everyone renders the same bytes.
EXAMPLE_DAY := 2026-11-25

.DEFAULT_GOAL := help
.PHONY: help demo test lint bench moved-clocks torture clean

help:
	@echo "make demo    install into .venv and run the whole job on example_site"
	@echo "make test    install and run the tests"
	@echo "make lint    ruff, mypy, and the example's book is current"
	@echo "make torture longer campaigns: many more drawn cases, drawn days, and formulas altered a little"
	@echo "make bench   speed as ratios, and the coverage of the stated uncertainties"

$(VENV)/installed: pyproject.toml
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "tunnelbook needs Python 3.11 or later")'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install --quiet --disable-pip-version-check --editable .
	@touch $@

$(VENV)/installed-test: $(VENV)/installed pyproject.toml
	$(BIN)/pip install --quiet --disable-pip-version-check --editable '.[all,test]'
	@touch $@

demo: $(VENV)/installed
	@echo '$$ tunnelbook check example_site'
	@$(BIN)/tunnelbook check example_site --as-of $(EXAMPLE_DAY) | tail -n 1
	@echo 'These nine are planted: example_site/README.md says what each would have a foreman ask.'
	@echo
	@echo '$$ tunnelbook build example_site --html'
	@$(BIN)/tunnelbook build example_site --as-of $(EXAMPLE_DAY) --html
	@echo
	@echo '$$ tunnelbook speed 43 30 --band 85 97      43 turns counted in 30 seconds'
	@$(BIN)/tunnelbook speed 43 30 --band 85 97
	@echo
	@echo 'The front page of its book says:'
	@echo
	@sed -n '/^## Needs a decision/,/^## Handover/p' example_site/book/README.md | sed '$$d'
	@echo 'Look at next:'
	@echo '  example_site/book/html/index.html   the book in a browser; round.html beside it is the pocket page'
	@echo '  example_site/book/README.md         the same book as text, as a pull request shows it'
	@echo '  README.md, "Start your own"         a site of yours, and its first visit'

# Three processes for two cores: tests wait for the programs that they start.
PYTEST = $(BIN)/python -m pytest -n 3 --dist worksteal
# `now` drives a browser too; `only` runs what `make moved-clocks` leaves out, all of it.
BROWSER ?=

test: $(VENV)/installed-test
	HYPOTHESIS_PROFILE=$(if $(filter only,$(BROWSER)),patient,brief) TUNNELBOOK_BROWSER=$(BROWSER) $(PYTEST) $(if $(filter only,$(BROWSER)),-m "browser or unmoved")

lint: $(VENV)/installed-test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/tunnelbook build example_site --as-of $(EXAMPLE_DAY) --check

# Needs faketime, a package of the system.
moved-clocks: $(VENV)/installed-test
	$(BIN)/python -m tests.moved_clocks fixed
	$(BIN)/python -m tests.moved_clocks drawn

torture: $(VENV)/installed-test
	TUNNELBOOK_BROWSER=now FAULT_WALK=all TUNNELBOOK_SEQUENCES=2000 TUNNELBOOK_HISTORIES=300 HYPOTHESIS_PROFILE=torture $(PYTEST)
	$(BIN)/python -m tests.moved_clocks drawn --times 5
	PYTHONPATH=tests $(BIN)/python -m tests.mutants --count 500

bench: $(VENV)/installed-test
	PYTHONPATH=tests $(BIN)/python -m tests.bench

clean:
	rm -rf $(VENV) dist .mypy_cache .ruff_cache .pytest_cache
