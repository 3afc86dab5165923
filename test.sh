#!/usr/bin/env bash
# Runs every test. Installs what is missing, after saying so. Options go to cargo test, such as: ./test.sh -p rig-link
set -euo pipefail
cd "$(dirname "$0")"
tools/prepare tests
[ -f "$HOME/.cargo/env" ] && . "$HOME/.cargo/env"
export TRUERIM_PYTHON="$PWD/target/python/bin/python"
python3 rigs/link/python/check_examples.py
if [ "$#" -eq 0 ]; then set -- --workspace; fi
cargo test --locked "$@"
