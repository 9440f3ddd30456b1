# Everything a person or a machine runs here. `make` lists it.
PYTHON ?= python3
UV_VERSION := 0.13.9
BIN := .venv/bin
CATALOGUES := $(patsubst %.po,%.mo,$(wildcard stewardship/locale/*/LC_MESSAGES/*.po))
SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c

.PHONY: help
help:  ## list these commands
	@awk -F ':.*## ' '/^[a-z-]+:.*## / {printf "  make %-14s %s\n", $$1, $$2}' $(MAKEFILE_LIST)

.PHONY: demo
demo: for-run  ## set up and run the demo program; Ctrl-C stops it. HOST, PORT
	@exec $(BIN)/python manage.py demo

.PHONY: test
test: for-tests  ## run the whole suite on SQLite. ARGS="tests/care -k late"
	$(BIN)/pytest -n auto $(ARGS)

.PHONY: test-postgres
test-postgres: for-tests  ## run the same suite on a throw-away PostgreSQL. ARGS
	.ci/with-postgres $(BIN)/pytest -n auto $(ARGS)

.PHONY: check
check: for-tests  ## lint, layers, types, migrations, settings
	$(BIN)/ruff check
	$(BIN)/ruff format --check
	$(BIN)/lint-imports --no-logo
	$(BIN)/mypy
	$(BIN)/python manage.py makemigrations --check --dry-run
	SITE_URL=https://book.example.org SECRET_KEY=$$($(BIN)/python -c 'import secrets; print(secrets.token_urlsafe(50))') \
	    $(BIN)/python manage.py check --deploy --fail-level WARNING

.PHONY: bench
bench: for-tests  ## measure speed and memory
	@failed=; for file in tests/bench_*.py; do module=$${file%.py}; echo "== $$module"; $(BIN)/python -m $${module//\//.} || failed+=" $$module"; done; \
	[ -z "$$failed" ] || { echo "Beyond its limit, or broken:$$failed"; exit 1; }

.PHONY: screenshots
screenshots: for-tests  ## pictures of pages, letters and PDFs of a fresh demo, into .screenshots/
	$(BIN)/python -m tests.screenshots

.PHONY: readme-picture
readme-picture: for-tests  ## take the README's picture anew
	$(BIN)/python -m tests.screenshots today
	mkdir -p .readme
	$(BIN)/python -c 'from PIL import Image; Image.open(".screenshots/today-1280-light.png").crop((0, 0, 1280, 1100)).convert("P", palette=Image.Palette.ADAPTIVE).save(".readme/today.png", optimize=True)'

.PHONY: setup
setup: for-run  ## make an installation ready to serve, and again after each update
	$(BIN)/python manage.py migrate --no-input
	$(BIN)/python manage.py collectstatic --no-input
	$(BIN)/python manage.py make_seal

.PHONY: messages
messages: for-tests  ## collect what is to be translated
	$(BIN)/python manage.py makemessages -l es --no-location --no-obsolete -i .venv

.PHONY: fresh
fresh:  ## try `make demo` and `make test` in a bare Debian (root only)
	.ci/fresh

.PHONY: clean
clean:  ## remove what these commands made, but not the demo's data in var/
	rm -rf .venv .screenshots .pytest_cache .mypy_cache .ruff_cache .import_linter_cache .hypothesis $(CATALOGUES)
	find people sites stewardship tests -name __pycache__ -type d -prune -exec rm -rf {} +

# -- what they stand on ---------------------------------------------------------------------------------------
.PHONY: for-run for-tests run-packages test-packages
for-run: run-packages .venv/.for-run $(CATALOGUES)
for-tests: test-packages .venv/.for-tests $(CATALOGUES)
run-packages:
	@PYTHON=$(PYTHON) .ci/system-packages run
test-packages:
	@PYTHON=$(PYTHON) .ci/system-packages test

.venv/.for-run: requirements.txt | run-packages
	@echo "Setting up Python packages …"
	@$(PYTHON) -m venv .venv
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check uv==$(UV_VERSION)
	@$(BIN)/uv pip install --quiet -p $(BIN)/python -r requirements.txt
	@touch $@

.venv/.for-tests: tests/requirements.txt .venv/.for-run | test-packages
	@echo "Setting up Python packages for tests …"
	@$(BIN)/uv pip install --quiet -p $(BIN)/python -r tests/requirements.txt
	@touch $@

%.mo: %.po
	msgfmt --check-format -o $@ $<
