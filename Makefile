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
lint: setup ## what .golangci.yml asks beyond that, and that every exported name has a comment
	@$(env) go tool -modfile=tools/lint.mod golangci-lint run ./...

vulnerabilities: setup ## known vulnerabilities in what is linked in (fetches their list: needs a network)
	@scripts/vulnerabilities

# Left out are the engines in C, which the detector cannot see into, and what does
# nothing but drive them: each phrase would take minutes.
race: setup ## the tests under the race detector
	@$(env) go test -race -timeout 30m $$(go list ./... | grep -vE '^waycall/(cmd/|internal/(audio/(card|mic)|demo|hear/(sphinx|whisper)|lab/(rivals|testsound|weights/peek)|say/(espeak|speaker)|web/browser)$$)')

bench: setup ## measure hearing, all of it, into out/bench and docs/bench (BENCH='--missing' or names: see scripts/bench)
	@scripts/bench $(BENCH)

fuzz: setup ## run every fuzz target for FUZZTIME (20s) each
	@$(env) for target in $$(grep -rlE '^func Fuzz' --include='*_test.go' internal | xargs grep -hoE '^func Fuzz[A-Za-z0-9]+' -H | sed 's/:func /:/'); do \
		file=$${target%%:*}; go test "./$$(dirname $$file)" -run '^$$' -fuzz "^$${target##*:}$$" -fuzztime $(or $(FUZZTIME),20s) -fuzzminimizetime 1x; done

package: setup ## build a Debian package and a tarball in out/package, twice, and compare
	@scripts/package --twice

try-package: ## install that package into a clean Debian, and run the demonstration there without a network
	@scripts/try-package

clean: ## remove what was built and fetched
	rm -rf .cache bin out models/*.bin models/*.bin.sha256
