#!/usr/bin/env bash
# Measures a virtual belt-driven wheelbase from end to end and leaves a report that one can open.
# Installs what is missing, after saying so. Options go to the program, such as: ./measure.sh --seed 4
set -euo pipefail
cd "$(dirname "$0")"
tools/prepare
[ -f "$HOME/.cargo/env" ] && . "$HOME/.cargo/env"
printf 'measure: building (three to five minutes the first time)\n' >&2
cargo build --locked --package truerim --bin truerim
out=out/first-run
if [ -e "$out" ]; then out=out/first-run-$(date +%Y%m%d-%H%M%S); fi
target/debug/truerim measure --rig rigs/belt.toml --procedure procedures/quick.toml --out "$out" --yes "$@"
printf 'measure: open %s\n' "$out/report.html" >&2
