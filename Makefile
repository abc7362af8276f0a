# One command for everything; CI calls these, too. `make help` lists them.

PYTEST_ARGS ?=
python := .venv/bin/python

.DEFAULT_GOAL := help
.PHONY: help setup demo test rest long check lint reference bench lock clean distclean

help: ## list these targets
	@awk -F ':.*## ' '/^[a-z]+:.*## / { printf "  make %-10s %s\n", $$1, $$2 }' Makefile

setup: ## get what the other targets need (they call it themselves)
	@bash .ci/setup

demo: setup ## compare the reference core with the model, then a core with one defect
	@.venv/bin/cellstep demo --out cellstep-out/demo

test: export BROWSER_TESTS = 1
test: setup ## run the tests; PYTEST_ARGS="-k sync" picks some
	@$(python) -m pytest -n 2 --dist worksteal $(PYTEST_ARGS)

rest: export BROWSER_TESTS = 1
rest: setup ## run the slower variants of tests in make test, as CI does after it
	@$(python) -m pytest -n 2 --dist worksteal -m "rest and not long" $(PYTEST_ARGS)

long: export BROWSER_TESTS = 1
long: setup ## run the tests that take long and are worth it
	@$(python) -m pytest -n 2 --dist worksteal -m long $(PYTEST_ARGS)

check: lint test ## lint, then test

lint: setup ## look for mistakes in style, layout and types without running anything
	@$(python) -m ruff check .
	@$(python) -m ruff format --check .
	@$(python) -m mypy
	@.venv/bin/lint-imports --no-logo

reference: setup ## write the pages of docs/reference from the code's schemas
	@$(python) -m refmodel.cli.reference

bench: setup ## measure the speeds and print them beside their targets
	@$(python) -m testbenches.bench

lock: ## pin the newest Python packages that pyproject.toml allows
	@bash .ci/lock

clean: ## remove what was built and cellstep-out, but not .venv
	rm -rf build dist cellstep-out sim_build .pytest_cache .mypy_cache .ruff_cache
	find refmodel testbenches hdl_stubs tests -name __pycache__ -prune -exec rm -rf {} +

distclean: clean ## remove .venv and saved test examples too
	rm -rf .venv .hypothesis *.egg-info
