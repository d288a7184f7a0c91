# Everything runs in a virtual environment of its own, made on first use.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready
# One more than cores: tests with servers and browsers wait much of their time.
JOBS ?= 3

.PHONY: demo test soak bench serve format clean

demo: $(READY)
	$(BIN)/hailcalc demo --out demo/out

test: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/python -m pytest -n $(JOBS) --dist worksteal -m "not soak" --durations=15

# The same properties with far more examples; hours are fine, minutes are usual.
soak: $(READY)
	HYPOTHESIS_PROFILE=soak $(BIN)/python -m pytest -n $(JOBS)

bench: $(READY)
	$(BIN)/python tests/bench.py
	$(BIN)/python tests/bench_books.py --plot demo/pictures/book-scaling.svg

serve: $(READY)
	$(BIN)/hailcalc serve

format: $(READY)
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

$(READY): pyproject.toml constraints.txt
	$(PYTHON) -c 'import sys; sys.exit(None if sys.version_info >= (3, 11) else "hailcalc needs Python 3.11 or later")'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e ".[dev]"
	touch $(READY)

clean:
	rm -rf $(VENV) demo/out build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis
