# Each target does its own set-up: a virtual environment in .venv, remade when pyproject.toml changes.
PYTHON ?= python3
BIN := .venv/bin

# sums keep their order, and two test workers do not fight over two cores
export OMP_NUM_THREADS := 1
export OPENBLAS_NUM_THREADS := 1

.PHONY: demo test slow bench check docs locked lock oldest clean

demo: .venv/use          ## map the made fields as a season, plan stops in one, rank the made farm; ends with the paths to open
	@$(BIN)/lossmap season demo-fields --cores 2 --out out/demo --config configs/demo.toml --quiet
	@$(BIN)/lossmap stops demo-fields/gravel-eighty --out out/demo/demo-fields --quiet
	@$(BIN)/lossmap rank demo-fields/made-farm --on 2025-09-25 --out out/demo --quiet
	@echo
	@echo "open in a browser"
	@echo "  $(CURDIR)/out/demo/demo-fields/season.html   the season, which leads to each field's map"
	@echo "  $(CURDIR)/out/demo/made-farm/ranking.html   which field first"
	@echo "and on a phone"
	@echo "  $(CURDIR)/out/demo/demo-fields/gravel-eighty/count-sheet.html"

test: .venv/develop      ## everything but the long simulations
	$(BIN)/pytest -n 2 --dist loadfile

slow: .venv/develop      ## the long simulations; writes shared/expected/evidence.md
	$(BIN)/pytest -m slow -s

bench: .venv/develop     ## how long a field and a season take and how much memory, beside other libraries; writes shared/expected/pages.md
	$(BIN)/python tests/benchmark.py $(FIELDS)
	$(BIN)/python tests/pages.py

check: .venv/develop     ## format, lint, types, floors
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports

docs: .venv/develop      ## README's outputs, licences and the table of outside numbers anew; README's pictures too where Chromium is installed
	$(BIN)/python tests/licences.py
	$(BIN)/python tests/outside.py
	$(BIN)/python tests/documents.py $(if $(shell command -v chromium),--pictures)

locked: | .venv/bin/python ## the environment of CI: each package by the version and hash of .ci/requirements.lock
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps --require-hashes -r .ci/requirements.lock -r .ci/carriers.lock
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	@touch .venv/develop .venv/use

lock: .venv/develop      ## .ci/requirements.lock anew: the newest packages that pyproject.toml admits, for every system
	$(BIN)/uv pip compile --quiet --universal --upgrade --python-version 3.11 --generate-hashes --no-annotate --extra dev --extra validators \
		--custom-compile-command 'make lock' pyproject.toml --output-file .ci/requirements.lock

oldest: .venv/develop    ## the tests on the oldest packages that pyproject.toml admits, in .venv-oldest
	$(BIN)/uv pip compile --quiet --resolution lowest-direct --python-version 3.11 pyproject.toml --output-file .venv-oldest.txt
	$(BIN)/uv venv --quiet --clear --seed --python 3.11 .venv-oldest
	$(BIN)/uv pip install --quiet --python .venv-oldest --editable '.[dev]' --constraints .venv-oldest.txt
	.venv-oldest/bin/pytest -q -n 2 --dist loadfile -o filterwarnings=default -m 'not slow and not browser' \
		--deselect tests/test_supply.py::test_the_licences_are_those_of_what_runs

clean:
	rm -rf .venv .venv-oldest .venv-oldest.txt out build *.egg-info

.venv/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "lossmap needs Python 3.11 or newer; found: $$($(PYTHON) --version 2>&1). Set PYTHON=python3.12, say."; exit 1; }
	@$(PYTHON) -m venv .venv || { rm -rf .venv; echo "Python has no venv here; on Debian or Ubuntu: apt-get install python3-venv"; exit 1; }

.venv/use: pyproject.toml | .venv/bin/python
	$(BIN)/pip install --quiet --disable-pip-version-check --editable .
	@touch $@

.venv/develop: pyproject.toml | .venv/bin/python
	$(BIN)/pip install --quiet --disable-pip-version-check --editable '.[dev,validators]'
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps -r .ci/carriers.lock
	@touch $@ .venv/use
