# waycall: `make` lists what there is to make. Each target does the set-up that it
# needs (scripts/setup), which takes a few minutes the first time and a second
# after that.

SHELL := bash
.SHELLFLAGS := -eu -o pipefail -c
.DEFAULT_GOAL := help
.PHONY: help setup build demo test test-long check lint vulnerabilities race bench fuzz package try-package clean

env := . scripts/env;

help: ## list the targets
	@sed -n 's/^\([a-z-]*\):.*## /  make \1|/p' $(MAKEFILE_LIST) | awk -F'|' '{ printf "%-16s %s\n", $$1, $$2 }'

setup: ## fetch and build what waycall needs
	@scripts/setup

build: setup ## build bin/waycall
	@$(env) go build -o bin/waycall ./cmd/waycall

demo: build ## play a recorded session through the whole program
	@bin/waycall demo

test: ## run every check and test
	@scripts/setup --tests
	@$(MAKE) --no-print-directory check
	@$(env) go test -timeout 30m ./...

test-long: ## the same, and every test in its long form: each cut of the log, each write that fails, 200 kills, 100,000 conversations, a whole board through sound
	@scripts/setup --tests
	@$(MAKE) --no-print-directory check
	@$(env) WAYCALL_TEST_LONG=1 go test -timeout 2h ./...

check: ## formatting, vet and staticcheck
	@unformatted=$$(gofmt -l cmd grammar internal); test -z "$$unformatted" || { echo "not formatted: $$unformatted; run gofmt -w" >&2; exit 1; }
	@$(env) go vet ./...
	@$(env) go tool staticcheck ./...

# Its own target: building golangci-lint takes longer than everything that check asks.
lint: setup ## what .golangci.yml asks beyond that, that every exported name has a comment, and that a program of ours reaches every function
	@$(env) go tool -modfile=tools/lint.mod golangci-lint run ./...
	@scripts/build/unused

vulnerabilities: setup ## known vulnerabilities in what is linked in (fetches their list: needs a network)
	@scripts/build/vulnerabilities

race: setup ## the tests under the race detector, but those of the engines in C
	@scripts/build/race

bench: setup ## measure hearing, all of it, into out/bench and docs/bench (BENCH='--missing' or names: see scripts/lab/bench)
	@scripts/lab/bench $(BENCH)

fuzz: setup ## run every fuzz target for FUZZTIME (20s) each
	@FUZZTIME=$(FUZZTIME) scripts/build/fuzz

package: setup ## build a Debian package and a tarball in out/package, twice, and compare
	@scripts/package --twice

try-package: ## install that package into a clean Debian, and run the demonstration there without a network
	@scripts/try-package

clean: ## remove what was built and fetched
	rm -rf .cache bin out models/*.bin models/*.bin.sha256
