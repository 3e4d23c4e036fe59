# Recipes. They need Python 3.11 or newer (with venv), make, and a package index; a C compiler makes the kernels fast.
# Everything is installed into .venv from hash-locked lists, as ready-made wheels.

VENV   := .venv
BIN    := $(VENV)/bin
PY     := $(BIN)/python
STAMPS := $(VENV)/.stamps
KERNELS := $(shell find src/slackwater -name kernels.py 2>/dev/null)
# One worker for each core, whole files at a time; ARGS=-n0 for one process.
WORKERS := -n auto --dist loadfile
CORE_TESTS := not slow and not browser and not postgres and not durability
ARGS   ?=

# The first Python on the path that is new enough; another one: make setup PYTHON=/path/to/python3
PYTHON ?= $(shell for p in python3 python3.14 python3.13 python3.12 python3.11 python; do \
	if "$$p" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; then command -v "$$p"; break; fi; done)

# --no-input and </dev/null: no recipe ever waits for an answer.
PIP := $(PY) -m pip --disable-pip-version-check --no-input
INSTALL_LOCKED := $(PIP) install -qq --require-hashes --only-binary :all:
LOCK := $(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --only-binary :all: \
	--custom-compile-command 'make lock'

.DEFAULT_GOAL := help
.PHONY: help setup dev demo test test-slow test-deep test-browser test-postgres test-durability bench-durability lint types bench bench-truth site lock clean

help: ## list the recipes
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "  make %-14s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

setup: $(STAMPS)/project ## make .venv/bin/slackwater; kernels are compiled where a compiler is found

dev: $(STAMPS)/dev $(STAMPS)/project ## setup, and what the tests and checks need

demo: setup ## run the main job on the demo; never waits for input
	@$(BIN)/slackwater demo </dev/null || { code=$$?; test $$code -eq 3 || exit $$code; }
# (exit 3 is an answer: it ran, and something cannot be told)

test: lint types ## the checks, then every test that needs no system package
	$(PY) -m pytest $(WORKERS) -m '$(CORE_TESTS)' $(ARGS) </dev/null

test-slow: dev ## the tests that take minutes
	@$(call pytest_may_be_empty,slow and not browser and not postgres and not durability,$(WORKERS))

test-deep: dev ## the same on many more examples, drawn anew each time; half an hour
	SLACKWATER_DEEP=1 $(PY) -m pytest $(WORKERS) -m 'slow and not browser and not postgres and not durability' $(ARGS) </dev/null

test-browser: dev ## the tests that need Chromium
	@$(call pytest_may_be_empty,browser,$(WORKERS))

test-postgres: dev ## the tests that need PostgreSQL
	@$(call pytest_may_be_empty,postgres and not durability)

test-durability: dev ## a sample of the record's kills, faults and writers; half an hour
	@$(call pytest_may_be_empty,durability)

bench-durability: dev ## every kill, fault and writer of the record's figures; hours
	$(PY) tests/durability/full.py $(ARGS) </dev/null
	$(PY) tests/concurrency/full.py </dev/null
	$(PY) tests/postgres/full.py </dev/null

lint: dev ## ruff, and the import contract
	$(BIN)/ruff check --quiet .
	@$(BIN)/lint-imports >$(STAMPS)/lint-imports.log 2>&1 || { cat $(STAMPS)/lint-imports.log; exit 1; }

types: dev ## mypy, strict
	$(BIN)/mypy

bench: dev ## every benchmark in bench/
	@set -e; ran=0; for file in bench/[a-z]*.py; do test -f "$$file" || continue; ran=1; \
		echo "== $$file"; $(PY) "$$file" $(ARGS) </dev/null; done; \
	test $$ran = 1 || echo "bench/ holds no benchmark yet"

bench-truth: dev ## the tool and plain methods against simulated truth; ARGS=--docs writes docs/how-sure.md
	$(PY) bench/truth/table.py $(ARGS) </dev/null

site: $(STAMPS)/docs ## the docs as a site in site/, built offline
	@$(BIN)/zensical build --strict --clean </dev/null

lock: $(STAMPS)/dev ## resolve the hash-locked lists anew (pyproject.toml, requirements/*.in)
	$(LOCK) --upgrade --all-extras pyproject.toml -o requirements/core.txt
	$(LOCK) --upgrade requirements/build.in -o requirements/build.txt
	$(LOCK) --upgrade --all-extras pyproject.toml requirements/build.in requirements/dev.in \
		-c requirements/core.txt -c requirements/build.txt -o requirements/dev.txt
	$(LOCK) --upgrade requirements/docs.in -c requirements/core.txt -c requirements/dev.txt -o requirements/docs.txt

clean: ## remove what was built and cached; .venv itself stays
	rm -rf build dist site .cache $(STAMPS) .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache
	find src -name '*.egg-info' -prune -exec rm -rf {} +
	find src \( -name 'kernels.*.so' -o -name 'kernels.c' -o -name 'kernels.*.pyd' \) -exec rm -f {} +
	find . -path './.?*' -prune -o -name __pycache__ -prune -exec rm -rf {} +

# Exit 5 means that no test bears the mark yet.
define pytest_may_be_empty
$(PY) -m pytest $(2) -m '$(1)' $(ARGS) </dev/null || { code=$$?; test $$code -eq 5 || exit $$code; }
endef

# --- how .venv comes about; a stamp is newer than all that it was made from ---

$(STAMPS)/venv:
	@test -n "$(PYTHON)" || { echo "make: no Python 3.11 or newer on the path. Install one, or name it: make setup PYTHON=/path/to/python3" >&2; exit 1; }
	@echo "-- environment: $(VENV) with $(PYTHON)"
	@test -x $(PY) && $(PY) -m pip --version >/dev/null 2>&1 || { rm -rf $(VENV); "$(PYTHON)" -m venv $(VENV); } || { rm -rf $(VENV); \
		echo "make: '$(PYTHON) -m venv' failed. On Debian or Ubuntu: apt-get install python3-venv" >&2; exit 1; }
	@mkdir -p $(STAMPS) && touch $@

$(STAMPS)/core: requirements/core.txt requirements/build.txt $(STAMPS)/venv
	@echo "-- libraries: requirements/core.txt, requirements/build.txt"
	@$(INSTALL_LOCKED) -r requirements/core.txt -r requirements/build.txt </dev/null
	@touch $@

$(STAMPS)/dev: requirements/dev.txt $(STAMPS)/core
	@echo "-- tools: requirements/dev.txt"
	@$(INSTALL_LOCKED) -r requirements/dev.txt </dev/null
	@touch $@

$(STAMPS)/docs: requirements/docs.txt $(STAMPS)/venv
	@echo "-- docs: requirements/docs.txt"
	@$(INSTALL_LOCKED) -r requirements/docs.txt </dev/null
	@touch $@

# Python prefers a compiled module to its source, so an old one is removed before anything else can go wrong.
$(STAMPS)/project: pyproject.toml setup.py $(KERNELS) $(STAMPS)/core
	@echo "-- slackwater itself"
	@rm -rf build
	@find src \( -name 'kernels.*.so' -o -name 'kernels.*.pyd' \) -exec rm -f {} +
	@$(PIP) install --quiet --no-build-isolation --no-deps --no-index --editable . </dev/null
	@for source in $(KERNELS); do ls $${source%.py}.*.so >/dev/null 2>&1 || { plain=1; echo "   $$source runs as plain Python"; }; done; \
	if test -n "$$plain"; then echo "   Kernels run as plain Python: right, but slow. Install a C compiler (gcc or clang), then: make clean setup"; \
	elif test -n "$(KERNELS)"; then echo "   kernels: $(words $(KERNELS)) compiled"; fi
	@touch $@
