# Serrata. `make help` lists what there is.
SHELL := /bin/bash
TARGET := $(if $(CARGO_TARGET_DIR),$(CARGO_TARGET_DIR),target)
BIN := $(TARGET)/release/serrata

# Where the invented clinic day is kept, and where it is served.
DEMO_DIR ?= demo-data
LISTEN ?= 127.0.0.1:8420
# Some parts of the tests only, for example ONLY="format page".
ONLY ?=
# Words for the appraisal's figures.
BENCH ?=

.DEFAULT_GOAL := help
.PHONY: help setup build demo test bench fuzz real-frames phantom-report phantom-use pictures format clean-demo appraisal-bench assembly-bench dye-bench

help: ## Lists the commands
	@grep -hE '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/:[^#]*## /\t/' | expand -t 14

setup: ## Installs what is missing (Debian, Python and npm packages), or says what to do
	@scripts/setup.sh

build: setup ## Builds the page, then the binary that embeds it
	@cd web && npm run --silent build
	@cargo build --release --workspace --all-targets --locked

demo: build ## Makes an invented clinic day and serves it (DEMO_DIR, LISTEN)
	@$(BIN) demo --dir "$(DEMO_DIR)" --listen "$(LISTEN)"

test: ## Runs all tests, part by part, with their times (ONLY="part part" for some)
	@scripts/test.sh $(ONLY)

format: ## Formats the Rust code
	@cargo fmt --all

bench: build ## Prints the ratios against OpenCV and dcmtk on the same files, in one run
	@.venv/bin/python checks/bench.py

assembly-bench: build ## Holds the assembly against annotated points, known geometry and OpenCV (PART="real rings …" for some)
	@.venv/bin/python checks/assembly_bench.py $(PART)

dye-bench: build ## Holds the dye run against simulated runs and labelled real frames (PART="times regions …" for some)
	@.venv/bin/python checks/dye_bench.py $(PART)

real-frames: build ## Writes docs/real-frames.md from the real pictures in ../shared/data
	@.venv/bin/python checks/real_frames.py

phantom-report: setup ## Writes docs/phantom.md: simulated frames beside the real ones (PAIRS=DIR for pictures of pairs)
	@cargo build --release -p serrata-phantom --examples --locked
	@.venv/bin/python checks/phantom_report.py $(if $(PAIRS),--pairs "$(PAIRS)")

phantom-use: build ## Holds limits fitted on the phantom alone against limits fitted on real frames (docs/phantom-use.json)
	@cargo build --release -p serrata-phantom --examples --locked
	@.venv/bin/python checks/phantom_use.py

appraisal-bench: build ## Prints every figure that the appraisal is held to (BENCH="--quick" or "--parts real,bad" for some)
	@.venv/bin/python checks/appraisal_bench.py $(BENCH)

pictures: build ## Makes the pictures of the screens in docs/pictures anew, from the invented clinic day
	@shots=$$(mktemp -d) && SERRATA_SHOTS=$$shots SERRATA_DAY_SIZE=2400 scripts/browser.sh \
	    && for name in day visit frame dye montage send; do \
	        .venv/bin/python scripts/shrink.py $$shots/$$name-1280.png docs/pictures/$$name.png \
	            && .venv/bin/python scripts/shrink.py $$shots/$$name-light-1280.png docs/pictures/$$name-light.png || exit 1; \
	    done && rm -rf $$shots

fuzz: ## By hand, with cargo-fuzz and a nightly compiler: TARGET_NAME=decode SECONDS_EACH=60
	@scripts/fuzz.sh

clean-demo: ## Removes the invented clinic day
	@rm -rf -- "$(DEMO_DIR)"
