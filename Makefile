# The targets that people and .ci/run call. `make` alone lists them.
.DEFAULT_GOAL := help
SHELL := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c
export PATH := $(PATH):/usr/local/go/bin

# Where git refuses to read the clone (it is another user's), the binary goes without its commit.
VCS := $(shell git status >/dev/null 2>&1 || echo -buildvcs=false)
PURE := ./service/physics/... ./service/planner
COVERAGE_FLOOR := 90
BENCH_COUNT ?= 5
BENCH_ROWS ?= 10000000
FUZZ_TIME ?= 60s
GOVULNCHECK := v1.9.0
GOSEC := v2.30.0
CALLS ?= 100000
SERVICE_IMAGE ?= rideout:latest
# The authorities a service in a container believes: webhooks and issuers of tokens speak TLS.
CA_CERTIFICATES ?= /etc/ssl/certs/ca-certificates.crt

.PHONY: help demo build test check bench load bench-store bench-replan slow-link faults fuzz image test-container clean go postgres browser faketime service-image vulnerabilities fuzz-contract security gosec

help: ## list the targets
	@awk -F ':.*## ' '/^[a-z-]+:.*## / { printf "  make %-15s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

demo: build postgres ## serve an invented fleet on http://127.0.0.1:8080 (ARGS='--addr host:port' and the like)
	@exec bin/rideout demo $(ARGS)

build: go ## build bin/rideout, one static file
	@CGO_ENABLED=0 go build $(VCS) -trimpath -ldflags '-s -w' -o bin/rideout ./cmd/rideout

test: go postgres browser ## run every test; coverage of physics and planner must be 90 % or more
	@go vet $(VCS) ./...
	@log=$$(mktemp); trap 'rm -f "$$log"' EXIT; \
	go test -v ./store/... >"$$log" 2>&1 || { cat "$$log"; exit 1; }; \
	grep -E '^(database:|ok|---)' "$$log" | grep -v '^--- PASS' | sort -u
	@go test $$(go list $(VCS) ./... | grep -v -e '^rideout/store' -e '^rideout/service/physics/' -e '^rideout/service/planner$$')
	@go test -coverprofile=coverage.out -coverpkg="$$(go list $(PURE) | grep -v /internal/ | paste -sd ,)" $(PURE) | sed -E 's/\tcoverage:.*//'
	@go tool cover -func=coverage.out | awk -v floor=$(COVERAGE_FLOOR) '$$1 == "total:" { share = $$3 + 0 } \
		END { printf "coverage of service/physics and service/planner: %.1f %% (at least %d %%)\n", share, floor; exit share < floor }'

check: go ## vet, staticcheck, gofumpt, and whether generated code is up to date
	@go vet $(VCS) ./...
	@go tool staticcheck ./...
	@unformatted=$$(go tool gofumpt -l .); [ -z "$$unformatted" ] || { echo "go tool gofumpt -w these: $$unformatted"; exit 1; }
	@before=$$(mktemp -d); trap 'rm -rf "$$before"' EXIT; generated="openapi/types.gen.go api/server.gen.go api/client/client.gen.go"; \
	cp $$generated "$$before"; go generate ./openapi; \
	for file in $$generated; do cmp -s "$$file" "$$before/$${file##*/}" || { echo "$$file was not up to date; it is now: commit it"; exit 1; }; done
	@echo "check: vet, staticcheck, gofumpt and generated code are clean"

bench: go ## medians of the benchmarks, and the ratios to reference programs
	@go test -run '^$$' -bench . -benchmem -count $(BENCH_COUNT) ./service/physics/motion ./service/physics/drift ./service/physics/coast ./service/planner | awk "$$MEDIANS"
	@! [ -e service/physics/motion/testdata/bench.sh ] || bash service/physics/motion/testdata/bench.sh

load: build postgres ## measure reads, inserts, the queue and rescue reads under load, beside a bare handler (some minutes; ARGS='-span 5s')
	@go run $(VCS) ./cmd/load -rideout bin/rideout $(ARGS)

bench-store: go postgres ## fill a Postgres with fleets and their history, measure it, remove it (BENCH_ROWS=1000000 for fewer plans, BENCH_DATA=dir keeps it)
	@GOGC=400 GOMEMLIMIT=400MiB go run $(VCS) ./cmd/benchstore -rows $(BENCH_ROWS) -data '$(BENCH_DATA)'
	@$(MAKE) --no-print-directory bench-log

bench-replan: go postgres ## what the queue adds to the computation when 20 and 200 vessels are planned anew (some minutes)
	@go test -run '^$$' -bench '^BenchmarkReplan$$' -benchtime 1x -timeout 60m ./store

.PHONY: bench-fleet
bench-fleet: build postgres ## a fleet planned anew by one process and by two, on one processor each, and with one of two killed (ten minutes; ARGS='-vessels 16')
	@go run $(VCS) ./cmd/load -rideout bin/rideout -only fleet,kill -rounds 3 $(ARGS)

.PHONY: bench-log
bench-log: go postgres ## how many changes a second 1 and 200 organisations record, log included, and how fast a log is taken in
	@go test -run '^$$' -bench '^Benchmark(Record|TakeIn)$$' -timeout 30m ./store

slow-link: go ## fetch a storm plan by a proxy of 2,400 bit/s with 0.8 s each way and resets, and print how long it takes
	@go test -run '^$$' -bench StormPlanOverASlowLine -benchtime 2x ./api

faults: go postgres faketime ## break the database, the line to it and the service under load, each with a control, and print what was lost (FAULTS=name for some)
	@RIDEOUT_FAULTS="$${FAULTS:-all}" go test -count=1 -timeout 90m -v -run '^TestFaults$$' ./store/faulttest

.PHONY: storm trust
storm: go postgres ## tell the storm of testdata/demo/STORM.md anew: the demo's service on a private Postgres, by a clock of its own (two minutes)
	@go test ./cmd/rideout -run '^TestStorm$$' -count=1 -update
	@echo "testdata/demo/STORM.md is what the code answers"

trust: go ## compute the tables of service/physics/TRUST.md anew (a minute)
	@go test ./cmd/rideout -run '^TestTrust$$' -count=1 -update
	@echo "service/physics/TRUST.md is what the code gives"

fuzz: go ## run each decoder's fuzz target for FUZZ_TIME (60s)
	@go test -run '^$$' -fuzz '^FuzzDecodePlan$$' -fuzztime $(FUZZ_TIME) ./api
	@go test -run '^$$' -fuzz '^FuzzCoverageJSON$$' -fuzztime $(FUZZ_TIME) ./service/forecast
	@go test -run '^$$' -fuzz '^FuzzNDBC$$' -fuzztime $(FUZZ_TIME) ./service/forecast
	@go test -run '^$$' -fuzz '^FuzzParseEntry$$' -fuzztime $(FUZZ_TIME) ./service/ledger
	@go test -run '^$$' -fuzz '^FuzzLines$$' -fuzztime $(FUZZ_TIME) ./service/ledger
	@go test -run '^$$' -fuzz '^FuzzCell$$' -fuzztime $(FUZZ_TIME) ./service/physics/coast

fuzz-contract: go postgres ## send CALLS (100,000) good and spoiled requests to every route and hold the answers against the contract (SEED=1 for the same again)
	@seed="$${SEED:-$$(date +%s)}"; echo "seed $$seed"; \
	RIDEOUT_FUZZ_CALLS=$(CALLS) RIDEOUT_FUZZ_SEED=$$seed go test -count=1 -timeout 3h -v -run '^TestEveryAnswerIsTheContracts$$' ./api

image: ## build the image of Postgres that test-container runs (Docker, root)
	@sh store/storetest/image/build.sh

service-image: build ## build the image of the service, rideout:latest, from the static binary (Docker)
	@rm -rf bin/image && mkdir -p bin/image
	@cp bin/rideout $(CA_CERTIFICATES) bin/image/
	@docker build -q -t $(SERVICE_IMAGE) -f deploy/Dockerfile bin/image >/dev/null
	@echo "$(SERVICE_IMAGE) is built: $$(docker image inspect --format '{{.Size}}' $(SERVICE_IMAGE)) bytes"

test-container: go ## run the store's tests on that image through testcontainers
	@log=$$(mktemp); trap 'rm -f "$$log"' EXIT; \
	RIDEOUT_TEST_CONTAINER=rideout-postgres:15 TEST_DATABASE_URL= go test -count=1 -v ./store/... >"$$log" 2>&1 || { cat "$$log"; exit 1; }; \
	grep -E '^(database:|ok|---)' "$$log" | grep -v '^--- PASS' | sort -u

vulnerabilities: go ## hold the code against the Go vulnerability database, which comes by the module proxy (some minutes)
	@database=$$(go mod download -json golang.org/x/vulndb@latest | awk -F'"' '$$2 == "Dir" { print $$4 }')/data/osv; \
	said=$$(mktemp); trap 'rm -f "$$said"' EXIT; \
	go run golang.org/x/vuln/cmd/govulncheck@$(GOVULNCHECK) -db "file://$$database" ./... >"$$said" 2>&1 || true; \
	grep -qE '^(=== Symbol Results ===|No vulnerabilities found)' "$$said" || { cat "$$said"; exit 1; }; \
	new=$$(sed -n 's/^Vulnerability #[0-9]*: //p' "$$said" | sort -u | grep -vxFf <(awk '/^GO-/ { print $$1 }' .ci/advisories) || true); \
	echo "$$(ls "$$database" | wc -l) published faults; explained in .ci/advisories: $$(grep -c '^GO-' .ci/advisories); others that reach our code: $$(echo $$new | wc -w)"; \
	[ -z "$$new" ] || { echo "$$new"; grep -A8 -F "$$new" "$$said" | grep -E '^Vulnerability|Found in|Fixed in'; exit 1; }

security: gosec vulnerabilities ## both of what looks for faults in the code and in what it depends on

gosec: go ## look for unsafe code by gosec, which comes by the module proxy; what is explained in .ci/gosec passes (some minutes)
	@said=$$(mktemp); trap 'rm -f "$$said"' EXIT; \
	go run github.com/securego/gosec/v2/cmd/gosec@$(GOSEC) -quiet -no-fail -fmt golint -exclude-generated \
		-exclude-dir store/faulttest -exclude-dir cmd/coastline -exclude-dir cmd/benchstore -exclude-dir cmd/load ./... >"$$said"; \
	awk -v root="$(CURDIR)/" "$$EXPLAINED" .ci/gosec "$$said"

clean: ## remove what the targets made
	@rm -rf bin coverage.out

go:
	@command -v go >/dev/null || { echo "Go is missing: install Go 1.26 from https://go.dev/dl"; exit 1; }

# As root the missing Postgres is installed; anybody else is told.
postgres:
	@there() { [ -n "$${TEST_DATABASE_URL:-}$${PG_BINDIR:-}" ] || command -v postgres >/dev/null || ls /usr/lib/postgresql/*/bin/postgres >/dev/null 2>&1; }; \
	install() { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends postgresql; }; \
	if ! there && [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then echo "installing Postgres"; install >/dev/null 2>&1 || true; fi; \
	there || { echo "Postgres is missing: apt-get install postgresql"; exit 1; }

# The faults set the database's clock by libfaketime. As root a missing one is installed; anybody else is told by the fault.
faketime:
	@there() { ls /usr/lib/*/faketime/libfaketime.so.1 >/dev/null 2>&1; }; \
	install() { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends faketime; }; \
	if ! there && [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then echo "installing faketime"; install >/dev/null 2>&1 || true; fi

# The pages are looked at in a browser. As root a missing one is installed; anybody else is told, and those tests skip.
browser:
	@there() { [ -n "$${CHROMIUM:-}" ] || command -v chromium >/dev/null || command -v chromium-browser >/dev/null; }; \
	install() { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends chromium; }; \
	if ! there && [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then echo "installing chromium"; install >/dev/null 2>&1 || true; fi; \
	there || echo "chromium is missing, so the pages are not looked at: apt-get install chromium"

# Of what gosec says, what .ci/gosec does not explain; and of that, what explains nothing.
define EXPLAINED
NR == FNR { if ($$1 ~ /^G[0-9]+$$/) { rule[++known] = $$1; place[known] = $$2 }; next }
/\(Rule:G[0-9]+/ {
	found++; explained = 0
	at = $$1; sub(root, "", at)
	match($$0, /Rule:G[0-9]+/); its = substr($$0, RSTART + 5, RLENGTH - 5)
	for (i = 1; i <= known; i++) if (rule[i] == its && index(at, place[i]) == 1) { used[i] = 1; explained = 1 }
	if (!explained) { print; failed = 1 }
}
END {
	for (i = 1; i <= known; i++) if (!used[i]) { print ".ci/gosec explains what is not there: " rule[i], place[i]; failed = 1 }
	printf "gosec: %d places, %d explanations in .ci/gosec\n", found, known
	exit failed
}
endef
export EXPLAINED

# Of each benchmark, the median of each figure.
define MEDIANS
/^Benchmark/ {
	name = $$1; sub(/-[0-9]+$$/, "", name)
	if (!(name in runs)) order[++count] = name
	run = ++runs[name]
	for (i = 3; i < NF; i += 2) {
		unit = $$(i + 1)
		if (!((name, unit) in known)) { known[name, unit] = 1; units[name] = units[name] " " unit }
		value[name, unit, run] = $$i + 0
	}
}
/^(FAIL|---|panic)/ { print; failed = 1 }
END {
	for (b = 1; b <= count; b++) {
		name = order[b]; line = ""
		n = split(units[name], each, " ")
		for (u = 1; u <= n; u++) {
			for (i = 1; i <= runs[name]; i++) sorted[i] = value[name, each[u], i]
			for (i = 2; i <= runs[name]; i++) for (j = i; j > 1 && sorted[j] < sorted[j - 1]; j--) { t = sorted[j]; sorted[j] = sorted[j - 1]; sorted[j - 1] = t }
			line = line sprintf("  %.6g %s", sorted[int((runs[name] + 1) / 2)], each[u])
		}
		printf "%s, median of %d:%s\n", name, runs[name], line
	}
	exit failed
}
endef
export MEDIANS
