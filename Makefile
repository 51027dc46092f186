# Everything below sets itself up: Python 3.11 or newer and make are all that is needed beforehand.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check --quiet
READY := $(VENV)/.ready
READY_DEV := $(VENV)/.ready-dev
READY_SPEED := $(VENV)/.ready-speed
READY_ROBUSTNESS := $(VENV)/.ready-robustness
READY_SUPPLY := $(VENV)/.ready-supply
AXE := tests/browser/node_modules/.ready
FOUND := $(wildcard pyproject.toml requirements/*.txt)

.PHONY: report test unit browser lint types accuracy accuracy-check speed speed-check likelihoods thresholds texts docs saturation sample clean \
	lock licences audit sbom robustness robustness-check coverage mutants

report: $(READY)
	$(BIN)/coldsift screen sample_logs --facts sample_logs/facts.toml --events sample_logs/custody.csv \
		--notes sample_logs/notes.csv --plan sample_logs/plan.edi --bookings sample_logs/bookings.csv \
		--spares sample_logs/spares.csv --hours 4 --out reports/sample || [ $$? -eq 1 ]

# A worker a core, so that the libraries in each need no threads of their own. Files go to them in the order that
# tests/conftest.py gives them.
PYTEST := POLARS_MAX_THREADS=1 OMP_NUM_THREADS=1 $(BIN)/python -m pytest -n auto --dist loadfile \
	--no-loadscope-reorder

test: $(READY_DEV) $(AXE) browser-here server-here
	$(PYTEST)

unit: $(READY_DEV) server-here
	$(PYTEST) -m "not browser"

browser: $(READY_DEV) $(AXE) browser-here
	$(PYTEST) -m browser

lint: $(READY_DEV)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(READY_DEV)
	$(BIN)/mypy

# Measures everything again and rewrites docs/accuracy.md (about twenty minutes on two cores); the second only
# says what got worse.
accuracy: $(READY_DEV)
	$(BIN)/python -m benchmarks.accuracy

accuracy-check: $(READY_DEV)
	$(BIN)/python -m benchmarks.accuracy --check

# Measures time and memory against bare reads, a script and a library (6 GB under build/speed), and rewrites
# docs/speed.md; the second only says what got worse. Nothing else should run meanwhile.
speed: $(READY_SPEED)
	$(BIN)/python -m benchmarks.speed

speed-check: $(READY_SPEED)
	$(BIN)/python -m benchmarks.speed --check

# Simulates the fitting fleets (about an hour) and rewrites the causes' likelihoods.
likelihoods: $(READY_DEV)
	$(BIN)/python -m benchmarks.likelihoods --cache build/fleets

# Simulates the fleets that thresholds are chosen on (about a quarter of an hour) and rewrites thresholds.toml;
# due after likelihoods.
thresholds: $(READY_DEV)
	$(BIN)/python -m benchmarks.thresholds --cache build/threshold_fleets

# The documentation as a site, to open from the disk.
docs: $(READY_DEV)
	NO_MKDOCS_2_WARNING=1 $(BIN)/python -m mkdocs build --strict --quiet

# Brings the translations of the report up to date, and says what is not translated.
texts: $(READY)
	$(BIN)/python -m coldsift.report.texts

# After a change of dependencies: lists anew, for every system, the SHA-256 of each file that may be installed.
lock: $(VENV)/bin/python
	$(PIP) install -c constraints.txt uv
	$(BIN)/python requirements/lock.py

# Rewrites docs/licences.md.
licences: $(READY_SUPPLY)
	$(BIN)/python requirements/licences.py

# Measures what it withstands (about an hour and a half) and rewrites docs/robustness.md; the second writes
# nothing and fails when something was measured that must never be.
robustness: $(READY_ROBUSTNESS) browser-here server-here
	$(BIN)/python -m benchmarks.robustness

robustness-check: $(READY_ROBUSTNESS) browser-here server-here
	$(BIN)/python -m benchmarks.robustness --check

# Lines and branches of each stage that the tests reach, those in the browser apart (half an hour).
coverage: $(READY_ROBUSTNESS) server-here
	$(BIN)/python -m benchmarks.robustness --only branches

# Whether the tests notice changes in features and excursions (about an hour).
mutants: $(READY_ROBUSTNESS)
	$(BIN)/python -m benchmarks.robustness --only mutants

# Asks an advisory service on the network for known weaknesses of all that may be installed. Fails when there
# are any, and when it could not ask: what nobody looked at counts as unsafe.
AUDITED := $(wildcard requirements/*.txt)
audit: $(READY_SUPPLY)
	@$(BIN)/pip-audit --strict --progress-spinner off --disable-pip --require-hashes \
		$(foreach list,$(AUDITED),-r $(list)) || { \
		echo "Weaknesses were found, or the advisory service could not be asked; the lines above say which."; exit 1; }

# The list of parts of an installation (CycloneDX, checked against its schema) in build/sbom.json.
sbom: $(READY_SUPPLY)
	$(PYTHON) -m venv --clear --without-pip build/installed
	$(PIP) --python build/installed/bin/python install --require-hashes -r requirements/run.txt
	$(PIP) --python build/installed/bin/python install --no-deps .
	$(BIN)/cyclonedx-py environment build/installed --output-reproducible --output-file build/sbom.json

saturation: $(READY)
	$(BIN)/python -m coldsift.refrigerant.make

sample: $(READY)
	rm -rf build/sample_logs && $(BIN)/coldsift simulate --sample --out build/sample_logs
	cp -r build/sample_logs/. sample_logs/

# The browser comes from the distribution's packages. Without it, or without the right to install it,
# the browser tests say that they were skipped.
.PHONY: browser-here
browser-here:
	@if command -v chromium >/dev/null || command -v chromium-browser >/dev/null; then :; \
	elif command -v apt-get >/dev/null && [ "$$(id -u)" = 0 ]; then \
		apt-get update -qq && apt-get install -y -qq chromium >/dev/null; \
	else \
		echo "no Chromium here and no right to install one: the browser tests will be skipped"; \
	fi

# The database server of the archive's tests, likewise: without it they say that they were skipped.
.PHONY: server-here
server-here:
	@if ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1; then :; \
	elif command -v apt-get >/dev/null && [ "$$(id -u)" = 0 ]; then \
		apt-get update -qq && apt-get install -y -qq postgresql >/dev/null; \
	else \
		echo "no PostgreSQL here and no right to install it: tests of archive send will be skipped"; \
	fi

# Accessibility rules for the browser tests, from the npm registry. Without npm those tests say that they were
# skipped.
$(AXE): tests/browser/package-lock.json
	@if command -v npm >/dev/null; then \
		npm --prefix tests/browser ci --silent --no-audit --no-fund && touch $@; \
	else \
		echo "no npm here: the accessibility tests will be skipped"; \
	fi

$(VENV)/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
		{ echo "coldsift needs Python 3.11 or newer; name one with: make PYTHON=/path/to/python3 $(MAKECMDGOALS)"; exit 2; }
	$(PYTHON) -m venv $(VENV)

# Only files whose SHA-256 stands in requirements/ are installed, those that build coldsift included.
INSTALL = $(PIP) install --require-hashes $(foreach list,$(1),-r requirements/$(list).txt) && \
	$(PIP) install --no-deps --no-build-isolation -e .

$(READY): $(FOUND) | $(VENV)/bin/python
	$(call INSTALL,build run)
	@touch $@

$(READY_DEV): $(FOUND) | $(VENV)/bin/python
	$(call INSTALL,build dev)
	@touch $@ $(READY)

$(READY_SPEED): $(FOUND) | $(VENV)/bin/python
	$(call INSTALL,build dev speed)
	@touch $@ $(READY_DEV) $(READY)

$(READY_ROBUSTNESS): $(FOUND) | $(VENV)/bin/python
	$(call INSTALL,build dev robustness)
	@touch $@ $(READY_DEV) $(READY)

$(READY_SUPPLY): $(FOUND) | $(VENV)/bin/python
	$(call INSTALL,build dev speed robustness supply)
	@touch $@ $(READY_DEV) $(READY_SPEED) $(READY_ROBUSTNESS) $(READY)

clean:
	rm -rf $(VENV) build dist reports/sample .pytest_cache .mypy_cache .ruff_cache
