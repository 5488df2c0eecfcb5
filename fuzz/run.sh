#!/usr/bin/env bash
# Runs the targets one after the other, and says how many broken files each of them tried.
#   bash fuzz/run.sh RUNS [TARGET...]
# Needs cargo-fuzz (cargo install cargo-fuzz). A stable compiler will do: the switch below lets it
# add the coverage counters, and nothing of the program is built with it.
set -euo pipefail
cd "$(dirname "$0")/.."
runs=${1:-100000}; shift || true
targets=("$@")
[ "${#targets[@]}" -gt 0 ] || targets=(stl obj ply threemf glb)
export RUSTC_BOOTSTRAP=1
cargo fuzz build --sanitizer none --fuzz-dir fuzz
for target in "${targets[@]}"; do
  grown=fuzz/grown/$target
  mkdir -p "$grown"
  seeds=(fuzz/corpus)
  [ -d "fuzz/seeds/$target" ] && seeds+=("fuzz/seeds/$target")
  log=$(mktemp)
  if ! cargo fuzz run --sanitizer none --fuzz-dir fuzz "$target" "$grown" "${seeds[@]}" -- \
    -runs="$runs" -max_len=2048 -timeout=5 -rss_limit_mb=1024 -print_final_stats=1 >"$log" 2>&1; then
    tail -30 "$log"
    echo "FAILED: $target"
    exit 1
  fi
  echo "$target: $(grep -oE 'number_of_executed_units: *[0-9]+' "$log" | grep -oE '[0-9]+') broken files, no failure"
  rm -f "$log"
done
