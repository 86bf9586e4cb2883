# make help lists the targets.
PYTHON ?= $(shell command -v python3.11 || command -v python3)
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/pip install --quiet --disable-pip-version-check
TESTS ?= tests audit/physics

.PHONY: help demo serve test check format lint types contracts prove bench lock clean

help: ## this list
	@grep -hE '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/:[^#]*## /\t/' | expand -t 12

$(VENV)/run.stamp: requirements.lock pyproject.toml
	$(PYTHON) -m venv $(VENV)
	$(PIP) --require-hashes -r requirements.lock
	$(PIP) --no-deps --no-build-isolation --editable .
	$(BIN)/python -m compileall -q audit rules api
	touch $@

$(VENV)/test.stamp: requirements-test.lock $(VENV)/run.stamp
	$(PIP) --require-hashes -r requirements-test.lock
	touch $@

demo: $(VENV)/run.stamp ## audit the demo fleet and print what is wrong, ranked
	@$(BIN)/setup-audit demo

serve: $(VENV)/run.stamp ## the HTTP door on this machine, http://127.0.0.1:8000/openapi.json
	$(BIN)/setup-audit serve

# three processes for two cores, as many tests wait for a server, a browser or a clock
test: $(VENV)/test.stamp ## every test
	.ci/in-memory $(BIN)/python -m pytest -n 3 --dist worksteal --doctest-modules $(TESTS)

check: format lint types contracts prove test ## all that must hold before a change lands

format: $(VENV)/test.stamp ## formatting
	$(BIN)/ruff format --check .

lint: $(VENV)/test.stamp ## lint
	$(BIN)/ruff check .

types: $(VENV)/test.stamp ## strict types
	$(BIN)/mypy

contracts: $(VENV)/test.stamp ## which part may import which
	$(BIN)/lint-imports

prove: $(VENV)/run.stamp ## that the shipped rules can be kept together, and each one broken alone
	$(BIN)/setup-audit rulebook prove

bench: $(VENV)/test.stamp ## speed, as ratios measured in one run
	$(BIN)/python tests/bench/audit_speed.py
	$(BIN)/python tests/bench/plan_speed.py
	$(BIN)/python tests/bench/visits_speed.py
	$(BIN)/python tests/bench/service_speed.py
	$(BIN)/python tests/bench/pages_speed.py
	$(PIP) --no-build-isolation --editable ".[bench]"
	$(BIN)/python tests/bench/fleet_speed.py

lock: $(VENV)/test.stamp ## renew the hashed locks from pyproject.toml
	$(BIN)/pip-compile --quiet --generate-hashes --strip-extras --no-emit-index-url --no-emit-find-links \
		--no-emit-trusted-host --no-header --no-annotate --extra build -o requirements.lock pyproject.toml
	$(BIN)/pip-compile --quiet --generate-hashes --strip-extras --no-emit-index-url --no-emit-find-links \
		--no-emit-trusted-host --no-header --no-annotate --allow-unsafe --extra build --extra test \
		--extra cluster --extra postgresql --extra schedule -c requirements.lock -o requirements-test.lock pyproject.toml

clean: ## remove the environment and caches
	rm -rf $(VENV) .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
