# Steelyard. `make help` lists the targets. After the module cache is warm,
# everything but `tools` and `vendor-protos` works without a network.
BIN := $(CURDIR)/bin
export PATH := $(BIN):$(PATH)

# What the contract must not break against. On main itself that is the commit before.
BREAKING_AGAINST ?= $(shell git rev-parse -q --verify origin/main >/dev/null 2>&1 && [ "$$(git rev-parse HEAD)" != "$$(git rev-parse origin/main)" ] && echo origin/main || echo HEAD~1)

# Tests run in their own folders: a path relative to this one would mislead them.
ifdef STEELYARD_REAL_SERIES
override STEELYARD_REAL_SERIES := $(abspath $(STEELYARD_REAL_SERIES))
export STEELYARD_REAL_SERIES
endif

.DEFAULT_GOAL := help
.PHONY: audit audit-tools help build test race soak bench bench-real fuzz generate lint breaking format tools vendor-protos clean

help: ## list the targets
	@grep -hE '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/^([a-z-]+):[^#]*## (.*)/  \1\t\2/' | expand -t 18

build: ## build bin/steelyard, one static binary
	CGO_ENABLED=0 go build -trimpath -o $(BIN)/steelyard ./cmd/steelyard

test: ## run all tests (real series too when STEELYARD_REAL_SERIES names their folder)
	go vet ./...
	GOOS=js GOARCH=wasm go build ./engine/...
	go test ./...

race: ## run the concurrent packages under the race detector
	go test -race ./service/...

# The tests that make faults at random; each says how many it made, and of which SEED.
FAULTS := Killed|Backfill_|Linear|OneRequest|FullDisk|OneRevision|Erased|Restore|Standby|Synced|Random|Overload|PageTokens|TestBad|CredentialMatrix

soak: ## run the proofs that make faults at random for a long time (an hour and more; SOAK=pattern picks some)
	STEELYARD_SOAK=1 STEELYARD_NEED_SERVERS=1 go test -count=1 -p 1 -timeout 4h -v -run '$(or $(SOAK),$(FAULTS))' ./cmd/steelyard ./service/...
	$(if $(SOAK),,go test -run '^$$' -fuzz '^FuzzRPC$$' -fuzztime $(or $(FUZZTIME),20m) ./service)

bench: ## run the benchmarks; a line with a ratio says beside it what the ratio has to be (STEELYARD_BENCH_JSON=file)
	go test -run '^$$' -bench . -benchmem ./engine/...
	STEELYARD_BENCH_JSON=$(abspath $(or $(STEELYARD_BENCH_JSON),bench.json)) go test -run '^$$' -bench '^BenchmarkService$$' -benchtime 7x ./service

bench-real: ## forecast real people's weight (STEELYARD_REAL_SERIES=folder of CSV files: date,weight_kg)
	@[ -n "$$STEELYARD_REAL_SERIES" ] || { echo "bench-real: STEELYARD_REAL_SERIES must name a folder of CSV files with the columns date and weight_kg"; exit 1; }
	go test -count=1 -run '^TestRealPeople$$' -v ./engine/balance

fuzz: ## run each fuzz target for a while (FUZZTIME=30s)
	@set -e; for p in $$(grep -rlE '^func Fuzz' --include='*_test.go' . | xargs -n1 dirname | sort -u); do \
	  for f in $$(grep -rhoE '^func Fuzz[A-Za-z0-9_]+' $$p/*_test.go | sed 's/func //'); do \
	    echo "$$p $$f"; go test -run '^$$' -fuzz "^$$f$$" -fuzztime $(or $(FUZZTIME),30s) $$p; done; done

generate: $(BIN)/buf ## generate api/ from proto/
	buf generate

lint: tools ## lint the contract and the code
	buf lint
	buf format --diff --exit-code --path proto/steelyard proto
	go vet ./...
	@unformatted=$$(git ls-files '*.go' ':!api' | xargs gofmt -l); [ -z "$$unformatted" ] || { echo "not gofmt-ed: $$unformatted"; exit 1; }
	@if command -v golangci-lint >/dev/null; then golangci-lint run ./...; else echo "golangci-lint is not installed: its checks are left out (see .golangci.yml)"; fi

breaking: tools ## refuse a contract that breaks its callers (BREAKING_AGAINST=commit)
	@old=$$(mktemp -d); trap 'rm -rf "$$old"' EXIT; \
	  git archive $(BREAKING_AGAINST) buf.yaml proto | tar -x -C "$$old" && buf breaking --against "$$old" && echo "nothing breaks against $(BREAKING_AGAINST)"

format: $(BIN)/buf ## format the contract and the code
	buf format -w proto/steelyard
	git ls-files '*.go' ':!api' | xargs gofmt -w

tools: $(BIN)/buf $(BIN)/buf-plugin-aip ## build the pinned tools into bin/
$(BIN)/buf: proto/tools/go.mod
	cd proto/tools && go build -trimpath -ldflags='-s -w' -o $(BIN)/buf github.com/bufbuild/buf/cmd/buf
	@touch $@
$(BIN)/buf-plugin-aip: proto/tools/go.mod $(wildcard proto/tools/buf-plugin-aip/*.go)
	cd proto/tools && go build -trimpath -o $(BIN)/buf-plugin-aip ./buf-plugin-aip
	@touch $@

AUDIT_TOOLS := govulncheck gendb gosec cyclonedx-gomod

audit: audit-tools ## known vulnerabilities, unsafe code, bin/steelyard.sbom.json
	go mod verify
	deploy/tools/audit.sh

audit-tools: $(addprefix $(BIN)/,$(AUDIT_TOOLS))

$(addprefix $(BIN)/,$(AUDIT_TOOLS)) &: deploy/tools/go.mod
	cd deploy/tools && go build -trimpath -ldflags='-s -w' -o $(BIN)/ $$(go list -f '{{.ImportPath}}' tool)
	@touch $(addprefix $(BIN)/,$(AUDIT_TOOLS))

vendor-protos: ## refresh proto/third_party (needs npm; only to bump)
	proto/tools/vendor-protos.sh

clean: ## remove what was built
	rm -rf $(BIN)
