# flourcast: the job in two commands
#   make demo    an invented mill's files through the whole job; prints where the report is
#   make check   gofmt, vet, staticcheck and all tests with the race detector (what CI runs)
# For developers:
#   make test    all tests, no root, no race detector
#   make long    check, thousands of simulated mills (rewrites tables in docs/), fuzzing and the benchmarks
#   make build   bin/flourcast
#   make notebooks   run the notebooks and write their pages (docs/notebooks)
#   make dist    dist/: programs for six platforms, man pages, shell completions, notices, checksums

SHELL      := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c
GO         ?= go
FUZZTIME   ?= 60s

.PHONY: demo check test long build fmt vet lint gcc chromium dist dist-check sbom postgres postgres-said trial trial-long mills kills readers load fuzz bench peers-curves peers jupyter notebooks notebooks-check

demo: build
	rm -rf demo-mill
	bin/flourcast demo demo-mill

build:
	$(GO) build -trimpath -o bin/flourcast ./cmd/flourcast

# Nothing runs twice: tests named TestWhole… are many whole jobs, minutes with the race
# detector, and run without it; TestWholeTable is `trial`, with more mills. Vet is done
# above. The longest packages stand first so that none is waited for at the end.
check: postgres-said gcc chromium fmt vet lint
	CGO_ENABLED=1 $(GO) test -race -vet=off -timeout 20m -skip '^TestWhole' ./web ./cmd/flourcast ./...
	$(GO) test -vet=off -run '^TestWhole' $(WHOLE)
	$(MAKE) --no-print-directory trial notebooks-check

WHOLE = $$(grep -rl --include='*_test.go' '^func TestWhole' . | xargs -n1 dirname | sort -u | grep -vx ./study/trial)

test:
	$(GO) test ./...

long: postgres check dist-check mills kills readers trial-long load fuzz bench

# A release: static programs that differ in nothing but their platform, man pages,
# shell completions, licences, checksums. The version is the tag (v1.2.3, or v1.2.3-4-gabcdef after
# it); without a tag it is that of the source with the revision that Go stamps.
PLATFORMS  ?= linux/amd64 linux/arm64 darwin/amd64 darwin/arm64 windows/amd64 windows/arm64
DIST       ?= dist
VERSION    ?= $(patsubst v%,%,$(shell git describe --tags --match 'v[0-9]*' --dirty 2>/dev/null))
STAMP      := $(if $(VERSION),-X flourcast/cmd/flourcast/shell.Release=$(VERSION))
dist:
	rm -rf "$(DIST)"; mkdir -p "$(DIST)"
	@for platform in $(PLATFORMS); do \
	  system="$${platform%/*}"; processor="$${platform#*/}"; \
	  name="$(DIST)/flourcast-$$system-$$processor"; \
	  if [ "$$system" = windows ]; then name="$$name.exe"; fi; \
	  CGO_ENABLED=0 GOOS="$$system" GOARCH="$$processor" \
	    $(GO) build -trimpath -buildvcs=auto -ldflags '-s -w $(STAMP)' -o "$$name" ./cmd/flourcast; \
	  echo "$$name"; \
	done
	@own="$$(mktemp -d)"; trap 'rm -rf "$$own"' EXIT; \
	$(GO) build -trimpath -buildvcs=auto -ldflags '$(STAMP)' -o "$$own/flourcast" ./cmd/flourcast; \
	SOURCE_DATE_EPOCH="$$(git log -1 --format=%ct 2>/dev/null || echo 0)" "$$own/flourcast" man "$(DIST)/man"; \
	mkdir "$(DIST)/completions"; \
	for file in bash:flourcast.bash zsh:_flourcast fish:flourcast.fish powershell:flourcast.ps1; do \
	  "$$own/flourcast" completion "$${file%:*}" >"$(DIST)/completions/$${file#*:}"; \
	done
	cp LICENSE THIRD-PARTY-NOTICES.md CHANGELOG.md "$(DIST)"
	$(CHECKSUMS)

CHECKSUMS = cd "$(DIST)" && find . -type f ! -name SHA256SUMS | sed 's,^\./,,' | LC_ALL=C sort | xargs sha256sum >SHA256SUMS

# What is in each program, as CycloneDX; the tool is fetched, so this is a release
# step and no part of check.
SBOM ?= github.com/CycloneDX/cyclonedx-gomod/cmd/cyclonedx-gomod@v1.10.0
sbom: dist
	@tools="$$(mktemp -d)"; trap 'rm -rf "$$tools"' EXIT; GOBIN="$$tools" $(GO) install $(SBOM); \
	for platform in $(PLATFORMS); do \
	  system="$${platform%/*}"; processor="$${platform#*/}"; \
	  CGO_ENABLED=0 GOOS="$$system" GOARCH="$$processor" "$$tools/cyclonedx-gomod" app -json -std -noserial -notimestamp \
	    -main cmd/flourcast -output "$(DIST)/flourcast-$$system-$$processor.cdx.json" .; \
	done
	$(CHECKSUMS)

# The same commit built again, in another folder and from an empty build cache, is
# the same bytes. Several minutes: six platforms compiled from nothing.
dist-check:
	@if [ -n "$$(git status --porcelain)" ]; then echo "dist-check compares with the commit: commit or stash first"; exit 1; fi
	$(MAKE) --no-print-directory dist
	@dir="$$(mktemp -d)"; trap 'rm -rf "$$dir"' EXIT; \
	git clone -q . "$$dir/elsewhere"; \
	GOCACHE="$$dir/cache" $(MAKE) --no-print-directory -C "$$dir/elsewhere" dist PLATFORMS="$(PLATFORMS)" VERSION="$(VERSION)" >/dev/null; \
	diff "$(DIST)/SHA256SUMS" "$$dir/elsewhere/dist/SHA256SUMS"; \
	echo "built twice, the same bytes: $$(wc -l <"$(DIST)/SHA256SUMS") files"

fmt:
	@unformatted="$$(gofmt -l $$(git ls-files '*.go'))"; \
	if [ -n "$$unformatted" ]; then echo "gofmt would change:"; echo "$$unformatted"; exit 1; fi

vet:
	$(GO) vet ./...

lint:
	$(GO) tool staticcheck ./...

# The notebooks, run headless: notebooks-check compares what they show with the pages
# in docs/notebooks/, notebooks writes those pages. The program is built without the
# revision, which would change the pages with every commit, and out of the same build
# cache as the tests.
NOTEBOOKS = dir="$$(mktemp -d)"; trap 'rm -rf "$$dir"' EXIT; \
	$(GO) build -buildvcs=false -o "$$dir/flourcast" ./cmd/flourcast && /usr/bin/python3 notebooks/run.py "$$dir/flourcast"
notebooks: jupyter
	@$(NOTEBOOKS) --write

notebooks-check: jupyter
	@$(NOTEBOOKS)

jupyter:
	@if ! /usr/bin/python3 -c 'import nbclient, nbconvert, ipykernel' 2>/dev/null; then \
	  if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	    apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
	      jupyter-nbconvert python3-nbclient python3-ipykernel jupyter-client >/dev/null; \
	  else \
	    echo "the notebooks need Debian's jupyter-nbconvert, python3-nbclient, python3-ipykernel and jupyter-client: install them (apt-get install …), or run 'make test'"; exit 1; \
	  fi; \
	fi

# The race detector needs a C compiler.
gcc:
	@if ! command -v gcc >/dev/null; then \
	  if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	    apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq gcc libc6-dev >/dev/null; \
	  else \
	    echo "make check needs gcc for the race detector: install it (Debian: apt-get install gcc libc6-dev), or run 'make test'"; exit 1; \
	  fi; \
	fi

# The pages are looked at by a real browser. Without one those tests say so.
chromium:
	@if ! command -v chromium >/dev/null && [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	  apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq chromium >/dev/null || echo "chromium could not be installed: the pages are not looked at by a browser"; \
	fi

# The checks on trial: 10 simulated mills of each kind, without the race detector.
trial:
	$(GO) test -run '^TestWholeTable$$' ./study/trial -mills 10

# The same with 200 of each kind; rewrites the table in docs/verdict.md. Half an hour on two cores.
trial-long:
	$(GO) test -run '^TestWholeTable$$' -timeout 3h ./study/trial -mills 200 -write

# Mean coverage of forecast intervals over 1,000 simulated mills a row (docs/intervals.md),
# and what the chart of follow-up does over 3,000 a row (rewrites docs/follow.md).
mills:
	FLOURCAST_LONG=1 $(GO) test -run 'TestMeanCoverage' -v ./eval/coverage
	FLOURCAST_LONG=1 $(GO) test -run 'TestChartOnSimulatedMills' -v ./forecast/follow -update

# Writers of the lab book, in a folder and on a server, killed at 200 random moments
# (10 in the other tests).
kills:
	FLOURCAST_LONG=1 $(GO) test -run 'TestKilledWritersLoseNothing' -v ./dataset/labbook
	FLOURCAST_LONG=1 $(GO) test -run 'TestWholeAddKilledLosesNothing' -timeout 1h -v ./cmd/flourcast

# Exported models read by others: the workbook worked out by LibreOffice Calc, PMML held
# against a schema by xmllint. Installs both from Debian's packages when missing and root.
readers:
	@if ! command -v soffice >/dev/null || ! command -v xmllint >/dev/null; then \
	  if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	    apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq libreoffice-calc-nogui libxml2-utils >/dev/null; \
	  else \
	    echo "make readers needs soffice and xmllint: install them (Debian: apt-get install libreoffice-calc-nogui libxml2-utils)"; exit 1; \
	  fi; \
	fi
	FLOURCAST_LONG=1 $(GO) test -count=1 -run 'TestLibreOfficeScoresAsForecastDoes|TestPMMLByItsSchema' -v ./report/takeaway

# Readers of the pages for a minute while models are fitted (docs/performance.md).
load:
	FLOURCAST_LONG=1 $(GO) test -run 'TestLoad' -v ./web

# Every fuzz target in turn, FUZZTIME each.
fuzz:
	@for dir in $$($(GO) list -f '{{.Dir}}' ./...); do \
	  for name in $$(grep -hoE '^func Fuzz[A-Za-z0-9_]+' $$dir/*_test.go 2>/dev/null | sed 's/func //'); do \
	    echo "fuzzing $$name in $${dir#$(CURDIR)/} for $(FUZZTIME)"; \
	    $(GO) test -run '^$$' -fuzz "^$$name\$$" -fuzztime $(FUZZTIME) $$dir; \
	  done; \
	done

bench:
	$(GO) test -run '^$$' -bench . -benchmem ./...

# Where the server programs of PostgreSQL are.
POSTGRES = $(firstword $(wildcard /usr/lib/postgresql/*/bin/initdb) $(shell command -v initdb))

postgres-said:
	@if [ -z "$(POSTGRES)" ]; then echo "make check: the lab book's tests on a real PostgreSQL are LEFT OUT: install postgresql to run them"; fi

# A PostgreSQL for the tests, which start it themselves.
postgres:
	@if [ -z "$(POSTGRES)" ]; then \
	  if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	    apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq postgresql >/dev/null; \
	  else \
	    echo "make long needs PostgreSQL's server programs: install them (Debian: apt-get install postgresql)"; exit 1; \
	  fi; \
	fi

# The same cross-validations by flourcast, R's pls and scikit-learn, one after the
# other; writes the table of docs/performance.md. Installs the peers from Debian's
# packages when they are missing and we are root. Takes most of an hour (PEERREPS
# rounds each); quiet machine, please.
PEERREPS ?= 5
peers:
	@dir="$$(mktemp -d)"; trap 'rm -rf "$$dir"' EXIT; \
	$(GO) build -trimpath -o "$$dir/peerbench" ./cmd/peerbench && \
	/usr/bin/python3 testdata/peers/models.py "$$dir/peerbench" "$$dir/data" --reps $(PEERREPS) --write docs/performance.md

# The same 10,000 curve files read by flourcast and by general-purpose peers, one
# after the other; the figures of docs/performance.md. Quiet machine, please.
peers-curves: build
	@dir="$$(mktemp -d)"; trap 'rm -rf "$$dir"' EXIT; python3 testdata/peers/curves.py bin/flourcast "$$dir"
