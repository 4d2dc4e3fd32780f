# One word a job.  `make demo` and `make test` each do all their own set-up: Python 3.11 or newer, pip and make are enough.
#
#   make demo       the bundled car end to end: forecast, verdict, sheet
#   make test       every test
#   make check      format, lint, types, fast tests: before each commit
#   make check-all  check, then every test, then the benchmarks
#   make format     format and mend what can be mended
#   make keys       write docs/keys.md anew after a change of a specification
#   make validation write docs/validation.md anew after a change of a check case or of what it checks
#   make facts      write docs/facts.md anew after a change of a rule's record or of what it runs
#   make screenshots make docs/screenshots anew after a change of the page's looks
#   make bench      speed against other solvers, ratios of one interleaved run
#   make clean      remove what a run leaves behind; `make distclean` removes .venv too
#
# Another Python: make test PYTHON=/path/to/python3.12
# Paths here are relative on purpose: the clone may lie in a folder with spaces in its name.

.POSIX:
.SUFFIXES:
.PHONY: help demo test check check-all format keys validation facts screenshots bench clean distclean setup setup-test

PYTHON =
VENV = .venv
PY = $(VENV)/bin/python
PYTEST_WORKERS = auto

# Both names, since pip before 25.3 hands PIP_CONSTRAINT on to the isolated build and later ones want the second.
PIP = PIP_CONSTRAINT=constraints.txt PIP_BUILD_CONSTRAINT=constraints.txt PIP_DISABLE_PIP_VERSION_CHECK=1 $(PY) -m pip
PATHS = src tests bench docs

help:
	@sed -n '3,13s/^# *//p' Makefile

demo: $(VENV)/.base
	$(VENV)/bin/coldside demo

test: $(VENV)/.test
	$(PY) -m pytest -n $(PYTEST_WORKERS)

check: $(VENV)/.test
	$(PY) -m ruff format --check $(PATHS)
	$(PY) -m ruff check $(PATHS)
	$(PY) -m mypy
	$(PY) -m pytest -q -n $(PYTEST_WORKERS) -m "not oracle and not slow and not browser"

check-all: check test bench

format: $(VENV)/.test
	$(PY) -m ruff format $(PATHS)
	$(PY) -m ruff check --fix $(PATHS)

keys: $(VENV)/.test
	$(PY) docs/make_keys.py

validation: $(VENV)/.test
	$(PY) docs/make_validation.py

facts: $(VENV)/.test
	$(PY) docs/make_facts.py

screenshots: $(VENV)/.test
	$(PY) docs/make_screenshots.py

bench: $(VENV)/.test
	$(PY) bench/run.py

setup: $(VENV)/.base

setup-test: $(VENV)/.test

clean:
	rm -rf out dist build .pytest_cache .mypy_cache .ruff_cache .hypothesis
	find src tests bench -name __pycache__ -type d -prune -exec rm -rf {} +

distclean: clean
	rm -rf $(VENV)

# The environment.  Where `ensurepip` is missing (some Linux distributions pack it apart) the pip at hand fills it.
$(VENV)/.made:
	@set -e; chosen=; \
	for candidate in "$(PYTHON)" python3.11 python3.12 python3.13 python3.14 python3 python; do \
	  if [ -n "$$candidate" ] && "$$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then \
	    chosen=$$candidate; break; \
	  fi; \
	done; \
	if [ -z "$$chosen" ]; then \
	  echo "coldside needs Python 3.11 or newer and found none. Install one, or: make PYTHON=/path/to/python3.11" >&2; exit 1; \
	fi; \
	echo "setting up $(VENV) with $$("$$chosen" -V 2>&1)"; \
	if "$$chosen" -c 'import ensurepip' 2>/dev/null; then \
	  "$$chosen" -m venv $(VENV); \
	elif ! { "$$chosen" -m venv --without-pip $(VENV) && "$$chosen" -m pip --python $(PY) install -q pip; }; then \
	  echo "$$chosen can make no virtual environment here: it lacks ensurepip, and its pip is absent or older than 22.3." >&2; \
	  echo "On Debian or Ubuntu: apt install python3-venv; elsewhere install a Python that brings ensurepip." >&2; exit 1; \
	fi; \
	touch $@

$(VENV)/.base: $(VENV)/.made pyproject.toml constraints.txt
	@echo "installing coldside and what it needs into $(VENV), about 450 MB"
	@$(PIP) install -q -e .
	@touch $@

$(VENV)/.test: $(VENV)/.made pyproject.toml constraints.txt
	@echo "installing coldside, what it needs and what its tests compare with into $(VENV), about 900 MB"
	@$(PIP) install -q -e '.[test]'
	@touch $(VENV)/.base $@
