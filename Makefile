# Thawline. `make help` lists what can be made.
SHELL := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c
.DEFAULT_GOAL := help

export CGO_ENABLED := 1
# The tests look for a browser here; make browser installs one where it may.
export THAWLINE_BROWSER ?= $(shell command -v chromium || command -v chromium-browser || command -v google-chrome)

ECHARTS := internal/chart/assets/echarts.min.js
COMPILED := internal/chart/assets/echarts.bytecode
VERSION := $(shell git describe --always --dirty 2>/dev/null || echo unversioned)
GO_BUILD := go build -ldflags "-s -w -X main.version=$(VERSION)"

.PHONY: help build assets demo test check soak fuzz bench test-kill test-cross test-reference audit-deps browser looks outside clean

help: ## list the targets
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

build: assets ## build bin/thawline
	$(GO_BUILD) -o bin/thawline ./cmd/thawline

assets: $(COMPILED) ## fetch the pinned chart library by npm (git-ignored, checked by SHA-256), and compile it

$(ECHARTS): internal/chart/assets/package-lock.json
	cd internal/chart/assets && npm ci --ignore-scripts --no-audit --no-fund --loglevel=error
	cp internal/chart/assets/node_modules/echarts/dist/echarts.min.js $@
	touch $@

# The interpreter's own code of the library hangs on the interpreter's version too.
$(COMPILED): $(ECHARTS) go.mod $(wildcard internal/chart/compile/*.go)
	go run ./internal/chart/compile $(ECHARTS) $@

demo: build ## invent a hospital, audit its last month, say where the pack is
	bin/thawline demo --dir demo

test: assets browser outside ## run every test, browser tests included
	go vet ./...
	go vet -tags bench ./cmd/thawline
	@test -z "$$(gofmt -l cmd internal queries dashboards)" || { echo "gofmt would change:"; gofmt -l cmd internal queries dashboards; exit 1; }
	go test -timeout 25m ./...

check: assets ## vet, format, and the checks of the code's own rules
	go vet ./...
	go vet -tags bench ./cmd/thawline
	@test -z "$$(gofmt -l cmd internal queries dashboards)" || { echo "gofmt would change:"; gofmt -l cmd internal queries dashboards; exit 1; }
	go test ./internal -run TestLayers

FUZZTIME ?= 1m
fuzz: assets ## feed every parser with made-up input, a minute each (FUZZTIME)
	@grep -rl --include='*_test.go' '^func Fuzz' internal | while read -r file; do \
	  for name in $$(sed -nE 's/^func (Fuzz[A-Za-z]*)\(.*/\1/p' "$$file"); do \
	    echo "$$name in $$(dirname "$$file")"; \
	    go test -run '^$$' -fuzz "^$$name\$$" -fuzztime $(FUZZTIME) -fuzzminimizetime 20x "./$$(dirname "$$file")" | tail -n 3; \
	  done; done

test-kill: assets ## kill the program 200 times at random instants; each time the next run ends as if nobody had
	THAWLINE_KILLS=200 go test -count 1 -timeout 6h -run 'TestKilled$$' -v ./cmd/thawline

test-cross: build ## recompute three invented hospitals in another language and compare every episode and column
	hospitals=$$(mktemp -d) && trap "rm -rf $$hospitals" EXIT && \
	THAWLINE_HOSPITALS=$$hospitals go test -count 1 ./internal/invent -run TestOtherHospitals && \
	testdata/cross/run.sh bin/thawline $$hospitals/*

test-reference: ## hold units, HL7 and FHIR against reference implementations (npm, 160 MB)
	cd testdata/reference && npm ci --ignore-scripts --no-audit --no-fund --loglevel=error
	node testdata/reference/ucum.js < internal/site/testdata/ucum.tsv | diff - internal/site/testdata/ucum.tsv
	node testdata/reference/hl7.js | diff - internal/read/hl7/testdata/hl7.tsv
	month=$$(mktemp -d) && trap "rm -rf $$month" EXIT && \
	THAWLINE_REFERENCE=$$month go test -count 1 ./cmd/thawline -run TestTheSameMonth && \
	node testdata/reference/fhir.js $$month/*.ndjson internal/read/fhir/testdata/*.ndjson && \
	THAWLINE_REFERENCE=$$month go test -count 1 ./internal/read/hl7 -run TestAnotherParser

audit-deps: ## look for known vulnerabilities in what is built in; the database comes as a Go module, the newest
	database=$$(go mod download -json golang.org/x/vulndb@latest | sed -nE 's/^\t"Dir": "(.*)",?$$/\1/p') && \
	echo "database: $${database##*/}" && go tool govulncheck -db "file://$$database/data/osv" ./...

soak: ## the property tests over many invented hospitals (THAWLINE_SOAK, 20), and other tables for the second computation
	THAWLINE_SOAK=$${THAWLINE_SOAK:-20} go test -count 1 -timeout 60m -run 'TestMarksDo|TestBands|TestLess' ./internal/audit
	for seed in 100 200 300; do THAWLINE_CROSS_SEED=$$seed go test -count 1 -timeout 15m -run TestSecondComputation ./internal/audit; done

bench: build ## time ingest, current, mark and pack on an invented store, and HL7 and FHIR (THAWLINE_BENCH_LABS, _SCALE, _BEDS, _RESULTS, _PART)
	go test -tags bench -count 1 -timeout 60m -run TestBench -v ./cmd/thawline

AXE := testdata/browser/node_modules/axe-core/axe.min.js
$(AXE): testdata/browser/package-lock.json
	cd testdata/browser && npm ci --ignore-scripts --no-audit --no-fund --loglevel=error
	touch $@

browser: $(AXE) ## install a headless browser for the browser tests, and a reader of what it prints, where it may, and the accessibility rules
	@if [ -z "$(THAWLINE_BROWSER)" ]; then \
	  if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	    apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends chromium fonts-dejavu-core >/dev/null; \
	  else echo "the browser tests need chromium: install it (Debian: apt-get install chromium) or name it in THAWLINE_BROWSER"; exit 1; fi; fi
	@if ! command -v pdftotext >/dev/null; then \
	  if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	    apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends poppler-utils >/dev/null; \
	  else echo "the tests of paper need pdftotext (Debian: apt-get install poppler-utils)"; exit 1; fi; fi

looks: assets ## pictures of every page of unlike hospitals, and their print, into looks/ (THAWLINE_LOOKS_OF=NAME,NAME)
	THAWLINE_LOOKS=$(CURDIR)/looks go test -count 1 -timeout 2h -run 'TestLooks$$' -v ./cmd/thawline

# Other readers, and sets of samples, against which our readers are held.
OUTSIDE := xlsx2csv python3-openpyxl node-csv-spectrum python3-stdnum
outside: ## install other readers that tests compare with, where it may
	@if ! dpkg -s $(OUTSIDE) >/dev/null 2>&1; then \
	  if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	    apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $(OUTSIDE) >/dev/null; \
	  else echo "some comparisons are skipped: they need $(OUTSIDE) (Debian: apt-get install $(OUTSIDE))"; fi; fi

clean: ## remove what was built
	rm -rf bin demo bench looks
