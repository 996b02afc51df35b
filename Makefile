# The few commands that matter. `make demo` and `make test` set up everything they need.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/pip --disable-pip-version-check -q
# One more than there are cores: many tests wait for processes and clocks.
WORKERS ?= $(shell expr $$(getconf _NPROCESSORS_ONLN) + 1)

.PHONY: help demo test lint types campaigns bench promises influxd lock format clean install uninstall

help:
	@echo "make demo       an invented collection with simulated probes, kept running"
	@echo "make test       the tests"
	@echo "make lint       ruff, mypy --strict and the import rules"
	@echo "make campaigns  the long tests: kills, fuzzing, many simulated books"
	@echo "make promises   every promise under its faults, at full count; writes their table"
	@echo "make bench      speed, memory and bytes written, as JSON lines"
	@echo "make install    on a board, as root: programs, units, a home; again to upgrade"
	@echo "make uninstall  takes them away; the home stays"
	@echo "make influxd    builds the InfluxDB that the tests use, once; it needs a Go"
	@echo "make lock       renew the hashed lists of packages"

$(VENV)/.run: requirements.lock pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Warmcoil needs Python 3.11 or newer; this is " + sys.version.split()[0])'
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV) || { echo "python3-venv is missing: apt-get install python3-venv"; rm -rf $(VENV); exit 1; }
	$(PIP) install --require-hashes -r requirements.lock
	$(PIP) install --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/.test: $(VENV)/.run tests/requirements.lock
	$(PIP) install --require-hashes -r tests/requirements.lock
	@touch $@

demo: $(VENV)/.run
	$(BIN)/warmcoil demo

# The version that can be built with nothing but a Go (1.21 or newer). Which proxy Go asks is the
# machine's own setting.
INFLUXD := .tools/bin/influxd
influxd: $(INFLUXD)
$(INFLUXD):
	@sh tests/influxd.sh $(INFLUXD)

test: $(VENV)/.test
	@sh tests/system-packages.sh
	@sh tests/influxd.sh $(INFLUXD) if-possible
	@$(BIN)/python -m compileall -q collector analysis config hardware tests  # for a thousand starts
	$(BIN)/pytest -n $(WORKERS) --dist loadgroup -m "not campaign"

campaigns: $(VENV)/.test
	@sh tests/system-packages.sh
	@sh tests/influxd.sh $(INFLUXD) if-possible
	$(BIN)/pytest -m "campaign or law" --full --timeout 3600

promises: $(VENV)/.test
	@sh tests/system-packages.sh
	@sh tests/influxd.sh $(INFLUXD) if-possible
	@mkdir -p artefacts && rm -f artefacts/promises.jsonl
	WARMCOIL_PROMISES=$(CURDIR)/artefacts/promises.jsonl $(BIN)/pytest -v --full --timeout 7200 tests/faults
	$(BIN)/python -m tests.faults.table artefacts/promises.jsonl

lint: $(VENV)/.test
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports

format: $(VENV)/.test
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

# Universal lists: they hold for every Python from 3.11 on and every kind of machine. No address
# of an index stands in them.
COMPILE = $(BIN)/uv pip compile -q --universal --python-version 3.11 --generate-hashes \
	--no-header --no-annotate --no-emit-index-url --no-emit-find-links
lock: $(VENV)/.test
	$(PIP) install uv
	$(COMPILE) --extra demo --extra statistics --extra build pyproject.toml -o requirements.lock
	$(COMPILE) --extra demo --extra statistics --extra build --extra tests -c requirements.lock \
		pyproject.toml -o tests/requirements.lock
	$(COMPILE) --extra bench -c requirements.lock pyproject.toml -o tests/benchmarks/requirements.lock

# About an hour and a half, most of it waiting: a disk that is real, and as root a loop device.
BENCHMARKS = wear kept window intake exchange judging scale footprint paper page
FIGURES := artefacts/figures.jsonl
bench: $(VENV)/.test
	@sh tests/influxd.sh $(INFLUXD) if-possible
	$(PIP) install --require-hashes -r tests/benchmarks/requirements.lock
	@mkdir -p artefacts && rm -f $(FIGURES)
	for one in $(BENCHMARKS); do $(BIN)/python -m tests.benchmarks.$$one artefacts | tee -a $(FIGURES) || exit 1; done
	if [ "$$(id -u)" = 0 ]; then for how in defaults commit=60; do \
		$(BIN)/python -m tests.benchmarks.wear artefacts --minutes 12 --mount $$how | tee -a $(FIGURES) || exit 1; done; fi
	$(BIN)/python -m tests.benchmarks.table $(FIGURES)

install uninstall:
	@sh config/deploy/install.sh $@

clean:
	rm -rf $(VENV) .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache artefacts build *.egg-info
