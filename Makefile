# What people type most. "make verify" is what has to pass before a change is sent.

BUF = go tool -modfile=proto/buf/go.mod buf

.PHONY: help build test lint generate verify

help: ## list the targets
	@grep -E '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:[^#]*## /\t/' | expand -t 12

build: ## build the program into bin/
	go build -o bin/turnwright ./cmd/turnwright

test: ## run all tests
	go test ./...

lint: ## check style and layering, and the API's form
	go tool -modfile=.ci/go.mod golangci-lint run
	$(BUF) lint

generate: ## write api/ from proto/ again
	$(BUF) format --write
	$(BUF) generate

verify: ## everything that has to pass, as in continuous integration
	.ci/run
