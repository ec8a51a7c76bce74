#!/usr/bin/env bash
# Exports the audit bundle of a coarse construct whose cortex has an axis, reads it with meshio, solves it again with
# scikit-fem and SciPy and computes its responses again; then that of one with friction, a tightened and a threaded
# screw, whose equilibrium it checks and which `bicolumn solve` solves again. Needs what tests/venv.sh needs.
set -euo pipefail
cd "$(dirname "$0")/../.."
source tests/venv.sh

target="${CARGO_TARGET_DIR:-target}"
venv="$target/bundle-venv"
make_venv "$venv" tests/bundle/requirements.txt

bundle="$target/bundle"
rm -rf "$bundle"
# The build of the tests holds the program too: a build of its own would compile everything twice.
cargo test --release --workspace --locked --quiet --no-run
for job in axis friction; do
    "$target/release/bicolumn" export "tests/bundle/$job.toml" --point 1 --out "$bundle/$job"
    "$venv/bin/python" tests/bundle/reads.py "$bundle/$job"
    "$venv/bin/python" tests/bundle/solves.py "$bundle/$job"
    "$venv/bin/python" tests/bundle/reads.py "$bundle/$job/intact"
    "$venv/bin/python" tests/bundle/measures.py "$bundle/$job"
done
# From its files alone, by the program's own door for other people's bundles.
"$target/release/bicolumn" solve "$bundle/friction" --out "$bundle/friction-again" --tolerance 1e-7
"$venv/bin/python" tests/bundle/agrees.py "$bundle/friction" "$bundle/friction-again"
