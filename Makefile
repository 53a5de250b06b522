# Everything a person or a build machine does with this repository. Each verb sets itself up first.

PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
READY  := $(VENV)/.set-up

# The resolver's choice for every supported Python, so that one lock serves all of them.
LOCK   := $(BIN)/uv pip compile --quiet --universal --no-header --no-annotate --extra demo --extra test

.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
.PHONY: help demo test check fix bench lock clean

help: ## Show this list
	@echo 'Houseband. Needs python3 (3.11 or newer) and make; everything else is fetched on first use.'
	@echo
	@sed -n 's/^\([a-z]*\):.*## \(.*\)/\1|\2/p' $(MAKEFILE_LIST) | awk -F'|' '{printf "  make %-7s %s\n", $$1, $$2}'
	@echo
	@echo '  PYTHON=python3.12 chooses the interpreter.'

demo: $(READY) ## Run an invented farm against the whole service; ARGS=--until-text ends at the text
	@$(BIN)/houseband demo $(ARGS)

# A whole run first sees that the rules' own tests reach every branch of them; one with ARGS runs what it is told.
COVERS := $(if $(ARGS),,-m pytest -n 2 tests/rules -m covers --cov)
PURE   := pure and not slow$(if $(ARGS),, and not covers)

# The kill tests need the machine for themselves: a service that starves is judged late, which is another test.
test: $(READY) ## Run all tests, pure ones first, and list what was skipped; STRICT=1 fails on any skip
	@export TESTS_STRICT=$(STRICT); failed=0; \
	$(if $(COVERS),$(BIN)/python $(COVERS) || failed=1;) \
	$(BIN)/python -m pytest -n 2 -m '$(PURE)' $(ARGS) || failed=1; \
	$(BIN)/python -m pytest -n 3 -m 'not pure and not slow' $(ARGS) || failed=1; \
	$(BIN)/python -m pytest -n 3 -m 'slow and not alone' $(ARGS) || failed=1; \
	$(BIN)/python -m pytest -n 2 -m alone $(ARGS) || failed=1; \
	exit $$failed

check: $(READY) ## Lint, formatting, types, and the layering of the house
	@failed=0; for tool in 'ruff check --output-format concise .' 'ruff format --check .' mypy lint-imports \
	  'python tests/house_measures.py'; do \
	  echo "== $$tool"; $(BIN)/$$tool || failed=1; \
	done; exit $$failed

fix: $(READY) ## Repair what lint and formatting can repair by themselves
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

bench: $(READY) ## Run the benchmarks (tests/bench/bench_*.py) and print their figures
	$(BIN)/python -m pytest -s -p no:randomly -o python_files='bench_*.py' tests/bench $(ARGS)

lock: $(READY) ## Choose dependency versions anew (only those at least a week old)
	$(LOCK) --exclude-newer "$$($(PYTHON) -c 'import datetime as d; print(d.date.today() - d.timedelta(7))')" \
	  --upgrade pyproject.toml --output-file requirements.lock

clean: ## Remove the environment, the fetched browser files and all caches
	rm -rf $(VENV) service/web/static/vendor build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
	find . -name __pycache__ -type d -prune -exec rm -rf {} +

# Set up again only when something that decides the environment has changed.
$(READY): pyproject.toml requirements.lock package-lock.json hatch_build.py $(BIN)/uv
	$(BIN)/uv pip install --quiet --python $(BIN)/python --requirement requirements.lock
	$(BIN)/uv pip install --quiet --python $(BIN)/python --no-deps --editable .
	@touch $@

# Debian packs venv apart from python. Where it is missing, a pip of the system can fill a bare environment.
$(BIN)/uv:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || { \
	  echo "Houseband needs Python 3.11 or newer, and '$(PYTHON)' is: $$($(PYTHON) --version 2>&1)"; \
	  echo "Install a newer one and name it, for example: make $(MAKECMDGOALS) PYTHON=python3.12"; exit 1; }
	@if $(PYTHON) -c 'import ensurepip, venv' 2>/dev/null; then \
	  $(PYTHON) -m venv --clear $(VENV) && $(BIN)/python -m pip install --quiet --disable-pip-version-check uv; \
	elif $(PYTHON) -c 'import pip, venv' 2>/dev/null; then \
	  $(PYTHON) -m venv --clear --without-pip $(VENV) && \
	  $(PYTHON) -m pip --python $(BIN)/python install --quiet --disable-pip-version-check uv; \
	else \
	  echo "'$(PYTHON)' cannot make a virtual environment: its venv and pip modules are missing."; \
	  echo "On Debian and its relatives: apt-get install python3-venv"; exit 1; \
	fi
