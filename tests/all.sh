#!/usr/bin/env bash
# Everything that must hold, on a fresh machine. Installs what it needs and says so:
# a Python environment for the independent libraries, a headless Chromium for the page.
# Ends with one line: N passed, N failed, N skipped.
set -uo pipefail
cd "$(dirname "$0")/.."
passed=0 failed=0 skipped=0
stamp=$(mktemp -d)
trap 'rm -rf "$stamp"' EXIT
started=$SECONDS

say() { printf '\n== %s (%d s)\n' "$1" "$((SECONDS - started))"; }

# step NAME COMMAND...: one thing that passes or fails as a whole
step() {
  local name=$1; shift
  say "$name"
  if "$@"; then passed=$((passed + 1)); else failed=$((failed + 1)); echo "FAILED: $name"; fi
}

# counted NAME COMMAND...: a runner whose output holds "N passed", "N failed"
counted() {
  local name=$1 log; shift
  log="$stamp/log"
  say "$name"
  "$@" 2>&1 | tee "$log"
  local status=${PIPESTATUS[0]}
  local p f
  p=$(grep -oE '[0-9]+ passed' "$log" | awk '{s+=$1} END {print s+0}')
  f=$(grep -oE '[0-9]+ failed' "$log" | awk '{s+=$1} END {print s+0}')
  if [ "$status" -ne 0 ] && [ "$f" -eq 0 ]; then f=1; echo "FAILED: $name ended with $status"; fi
  if [ "$p" -eq 0 ] && [ "$f" -eq 0 ]; then f=1; echo "FAILED: $name ran no check"; fi
  passed=$((passed + p)); failed=$((failed + f))
}

if [ "$(id -u)" -eq 0 ] && command -v apt-get >/dev/null; then
  missing=()
  command -v chromium >/dev/null || missing+=(chromium)
  python3 -c 'import venv, ensurepip' 2>/dev/null || missing+=(python3-venv)
  if [ "${#missing[@]}" -gt 0 ]; then
    say "installing ${missing[*]}"
    apt-get update -qq && apt-get install -y -qq "${missing[@]}" >/dev/null
  fi
fi

step "format" cargo fmt --check
step "lints" cargo clippy --locked --workspace --all-targets -- -D warnings
counted "cargo test" cargo test --locked --workspace --no-fail-fast
step "documentation" env RUSTDOCFLAGS="-D warnings" cargo doc --locked --workspace --no-deps --quiet
step "release build" cargo build --locked --release

if [ -f tests/python/requirements.txt ]; then
  say "Python environment with the independent libraries"
  python3 -m venv target/venv && target/venv/bin/pip install --quiet --disable-pip-version-check -r tests/python/requirements.txt
  for script in tests/python/check_*.py; do
    counted "$script" target/venv/bin/python "$script" target/release/thumbworn
  done
fi
for script in tests/shell/*.sh; do
  [ -f "$script" ] && counted "$script" bash "$script" target/release/thumbworn
done
if [ -f tests/browser/check.mjs ]; then
  (cd tests/browser && npm ci --silent --no-audit --no-fund)
  counted "the page in Chromium" node tests/browser/check.mjs target/release/thumbworn
fi

say "done"
printf '%d passed, %d failed, %d skipped\n' "$passed" "$failed" "$skipped"
[ "$failed" -eq 0 ]
