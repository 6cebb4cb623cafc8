# Everything runs from .venv, which `make venv` fills from the pinned, hashed requirements.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
TESTS ?= tests
# Tests wait for servers more than they reckon, so one process more than CI has processors. A file's tests
# stay in one process, which starts a server once for them. SPREAD= runs all in one, to follow them.
SPREAD ?= --numprocesses 3 --dist loadfile

FAULTS ?= --seed 1 --tries 5

.PHONY: afternoon faults help venv venv-dev demo test bench load fuzz lint format clean requirements

help:
	@echo "make venv   .venv with the crookline command in it"
	@echo "make demo   the main job: demo_scores/ through the embedded service, into demo_output/"
	@echo "make test   all tests (TESTS=tests/unit for some)"
	@echo "make lint   ruff, mypy --strict, bandit"
	@echo "make bench  timings, never asserted"
	@echo "make faults real processes, real faults: nothing is lost, every reason is true"
	@echo "make afternoon  several hosts and an object store, and what goes wrong"
	@echo "make fuzz   files changed at random, FUZZ=200000 of them"

$(VENV)/.runtime: requirements.txt requirements-build.txt pyproject.toml
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --require-hashes -r requirements-build.txt
	$(BIN)/python -m pip install --quiet --require-hashes -r requirements.txt
	$(BIN)/python -m pip install --quiet --no-deps --no-build-isolation --config-settings editable_mode=compat --editable .
	touch $@

$(VENV)/.dev: $(VENV)/.runtime requirements-dev.txt
	$(BIN)/python -m pip install --quiet --require-hashes -r requirements-dev.txt
	touch $@

venv: $(VENV)/.runtime

venv-dev: $(VENV)/.dev

demo: venv
	$(BIN)/crookline demo --scores demo_scores -o demo_output

test: venv-dev
	$(BIN)/python -m pytest $(SPREAD) $(TESTS)

bench: venv-dev
	$(BIN)/python -m tests.bench

# A thousand parts from twenty clients, beside one that misbehaves in each of several ways; and with an object
# store of 30 ms that fails one request in a hundred.
load: venv-dev
	$(BIN)/python -m tests.bench.load
	$(BIN)/python -m tests.bench.load --slow-store

# Files changed at random: FUZZ of them, and UPLOADS names and archives. What ends in a fault is kept in tests/fuzz/kept and tried by every
# run of the tests.
FUZZ ?= 200000
UPLOADS ?= 5000
fuzz: venv-dev
	$(BIN)/python -m tests.fuzz --count $(FUZZ)
	$(BIN)/python -m tests.fuzz --uploads --count $(UPLOADS)

faults: venv-dev
	$(BIN)/python -m tests.faults $(FAULTS)

# Two web servers, three workers, an object store, six owners; SITUATION= for some of what goes wrong.
afternoon: venv-dev
	$(BIN)/python -m tests.afternoon $(SITUATION)

lint: venv-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/python -m bandit --quiet --recursive --configfile pyproject.toml annotator workers api

format: venv-dev
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

# Needs uv on the PATH; the result names no registry.
requirements:
	echo 'setuptools>=80' | uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-annotate --no-header - -o requirements-build.txt
	uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-annotate --no-header --extra all pyproject.toml -o requirements.txt
	uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-annotate --no-header --extra all --extra dev -c requirements.txt pyproject.toml -o requirements-dev.txt

clean:
	rm -rf $(VENV) demo_output build *.egg-info
