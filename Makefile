# Every target only calls what README.md and .ci/run call.
.PHONY: help setup demo test lint bench
help:  ## show this list
	@grep -hE '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed 's/:.*## /\t/' | expand -t 10
setup:  ## make .venv with everything the tests need
	python3 -m venv .venv && .venv/bin/pip install -e '.[test]'
demo:  ## run the demo
	.venv/bin/scalemodel demo
test:  ## run the tests, fast ones (slow ones too: make test ARGS=--run-slow)
	.venv/bin/python -m pytest $(ARGS)
lint:  ## ruff, as .ci/run calls it
	.venv/bin/ruff check . && .venv/bin/ruff format --check .
bench:  ## speed of a question, and descales saved, as ratios in one run, and what the dates survive, and what pooling gains (an hour)
	.venv/bin/python -m benchmarks.speed
	.venv/bin/python -m benchmarks.cold
	.venv/bin/python -m benchmarks.serving
	.venv/bin/python benchmarks/decision_quality.py
	.venv/bin/python benchmarks/robustness.py
	.venv/bin/python benchmarks/pooling.py
