# make run needs Go and make only; make test installs what the tests need
# (Debian packages as root, npm packages) and runs everything.

VERSION := $(shell git describe --tags --always --dirty 2>/dev/null || echo dev)
LDFLAGS := -s -w -X dewcase/internal/run/commands.Version=$(VERSION)
export CGO_ENABLED ?= 0

.PHONY: build pages run test check pictures bench deps clean

build: pages
	go build -trimpath -ldflags "$(LDFLAGS)" -o bin/dewcase ./cmd/dewcase

pages:
	go tool esbuild dashboards/src/main.ts dashboards/src/main.css --bundle --minify --format=esm --target=es2022 --outdir=dashboards/dist --log-level=warning

run: build
	bin/dewcase demo

deps:
	.ci/deps

check: pages
	@test -z "$$(gofmt -l cmd internal dashboards)" || { gofmt -l cmd internal dashboards; echo "gofmt -w these"; exit 1; }
	go vet ./...
	go tool staticcheck ./...
	go test ./internal/testkit/layering

test: deps check
	cd dashboards/test && npm ci --no-audit --no-fund --loglevel=error && npx tsc --noEmit -p ..
	.ci/test ./...

# What a change is tried with while it is being written: no root, no servers, no
# browser, under a minute once the packages are built.
.PHONY: quick
quick: pages
	go vet ./...
	go test -short $$(go list ./internal/... ./cmd/... | \
		grep -vE 'testkit/(crash|deploy|fault)|store/(sqlite|influx)|mqttfeed|notify|run/(app|doctor|release)|cmd/')

# The README's pictures, taken of the demo in a real browser.
pictures: build
	cd dashboards/test && npm ci --no-audit --no-fund --loglevel=error
	.ci/pictures

bench: build
	go test -run '^$$' -bench . -benchtime 300ms -timeout 1h ./internal/...

# What the daemon costs as many houses load it: HOUSES=10000 is the whole, for
# which SPEED=1 is as fast as two processors go.
.PHONY: fleet
fleet:
	go run ./internal/run/fleet -houses $(or $(HOUSES),200) -days $(or $(DAYS),8) -speed $(or $(SPEED),10) $(FLEET)

# Operating figures of cause finding, repair verification and alerts on simulated
# winters; hours of processor time. DEWCASE_TRIALS and DEWCASE_SEED choose.
.PHONY: trials
trials:
	go test -tags trials -run 'Trials' -timeout 12h -v ./internal/reason/cause ./internal/reason/repair ./internal/reason/mechanism ./internal/reason/leak ./internal/reason/predict ./internal/flow/watch

clean:
	rm -rf bin dashboards/dist/*.js dashboards/dist/*.css

# The faults of DEVELOPERS.md's table, provoked for real; needs what deps installs.
.PHONY: faults
faults:
	go test -count=1 -timeout 5m ./internal/testkit/faulttest ./internal/door/mqtt/mqttfeed ./internal/door/mqtt/broker ./internal/door/notify ./internal/door/mqtt/mqttframe ./internal/door/http/gate
	go test -count=1 -timeout 5m -run 'Killed|PowerCut|Fail|Full|Folder|Flipped|Damage|Torn|Deleted|Older|Interrupted|Newer|SecondDaemon|Restor|Bad|Contradict|Backlog|Proxy|Edit|Ledger|Upgrade|Reload|HomeAutomation|Missing|EmptyStore|Closing|LowDisk|Moving|Written' ./internal/door/store/sqlite ./internal/door/store/influx ./internal/testkit/crashtest ./internal/testkit/deploytest ./internal/flow/ingest ./internal/run/app
	go test -count=1 -timeout 5m ./internal/run/doctor

# Bill of materials of the binary (CycloneDX JSON): what is linked, version, licence.
.PHONY: sbom
sbom: build
	go run ./internal/run/release/sbom -version "$(VERSION)" bin/dewcase > bin/sbom.json
	go run ./internal/run/release/sbom -notices bin/dewcase > bin/notices.txt

# Static binaries for amd64, arm64 and armv7, each tried on this machine.
.PHONY: cross
cross: deps pages
	.ci/cross $(VERSION)

# A Debian package of the binary, for this machine's architecture.
.PHONY: package
package: sbom
	.ci/package bin/dewcase bin/notices.txt "$(VERSION)" "$$(dpkg --print-architecture)" dist

# The ready-made Grafana dashboards, written again from internal/run/release/grafana.
.PHONY: dashboards-grafana
dashboards-grafana:
	go run ./internal/run/release/grafana dashboards/grafana
