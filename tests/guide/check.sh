#!/usr/bin/env bash
# Runs a coarse study, and on its results the Python code of the guide that reads them. Needs what tests/venv.sh needs.
set -euo pipefail
cd "$(dirname "$0")/../.."
source tests/venv.sh

target="${CARGO_TARGET_DIR:-target}"
venv="$target/guide-venv"
make_venv "$venv" tests/guide/requirements.txt

folder="$target/guide"
rm -rf "$folder"
# The build of the tests holds the program too: a build of its own would compile everything twice.
cargo test --release --workspace --locked --quiet --no-run
# The guide names this folder.
"$target/release/bicolumn" run tests/guide/first-look.toml --out "$folder/results/first-look" --quiet
"$venv/bin/python" tests/guide/runs.py docs/guides/read-results-in-python-and-R.md "$folder"
