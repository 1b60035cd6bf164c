#!/usr/bin/env bash
# Builds the library for the kit's page and writes, beside this script,
#   farcone.wasm.gz   what the page carries
#   built-from.txt    exactly what it was built from: a test compares, and fails once something changed
# Whoever only uses the crate never needs this: both files are committed. Compilers differ, so bytes are never compared.
#
#   src/kit/core/build.sh [TARGET_FOLDER]
#
# Needs wasm-opt and zopfli (packages binaryen and zopfli). With rustup's target wasm32-unknown-unknown installed, the toolchain at hand is used. Without, Debian's compiler with the sources
# of its standard library (packages rustc-web cargo-web rust-web-src) and the linker of the toolchain at hand.
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
cd "$here/../../.."
target=${1:-target/page}
triple=wasm32-unknown-unknown

# Small before fast: the page travels by mail, and judges a take in a fraction of a second either way.
export CARGO_TARGET_DIR=$target CARGO_TERM_COLOR=never
export CARGO_PROFILE_RELEASE_OPT_LEVEL=s CARGO_PROFILE_RELEASE_LTO=fat CARGO_PROFILE_RELEASE_CODEGEN_UNITS=1
export CARGO_PROFILE_RELEASE_PANIC=abort CARGO_PROFILE_RELEASE_STRIP=true CARGO_PROFILE_RELEASE_DEBUG=false
for tool in wasm-opt zopfli; do
    command -v "$tool" >/dev/null || { echo "$tool is missing: apt-get install binaryen zopfli" >&2; exit 1; }
done
library=(rustc --locked --release --lib --crate-type cdylib --no-default-features --target "$triple")

# The library itself, with what it instantiates, smaller still: 5 % of the page.
smaller=(-C opt-level=z)

if [ -d "$(rustc --print target-libdir --target "$triple" 2>/dev/null)" ]; then
    cargo "${library[@]}" -- "${smaller[@]}"
else
    debian=/usr/bin
    "$debian/rustc" --version || { echo "no $triple here: apt-get install rustc-web cargo-web rust-web-src" >&2; exit 1; }
    linker=$(rustc --print sysroot)/lib/rustlib/$(rustc -vV | sed -n 's/^host: //p')/bin/rust-lld
    # Panics end at once, without words: a strategy of its own, which the standard library has to be built with.
    RUSTC=$debian/rustc RUSTC_BOOTSTRAP=1 RUSTFLAGS="-Zunstable-options -Cpanic=immediate-abort" CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_LINKER=$linker \
        "$debian/cargo" "${library[@]}" -Zbuild-std=std,panic_abort -Zbuild-std-features=optimize_for_size -- "${smaller[@]}"
fi

built=$target/$triple/release/farcone
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
features=(--enable-bulk-memory --enable-nontrapping-float-to-int --enable-sign-ext --enable-mutable-globals
    --enable-reference-types --enable-multivalue)
# Only what the page calls, and what that needs: otherwise a crate that the ZIP crate brings along wants imports.
cat >"$work/kept.json" <<'KEPT'
[
    {"name": "page", "reaches": ["memory", "room", "answer", "length"], "root": true},
    {"name": "memory", "export": "memory"},
    {"name": "room", "export": "farcone_room"},
    {"name": "answer", "export": "farcone_answer"},
    {"name": "length", "export": "farcone_length"}
]
KEPT
wasm-metadce "${features[@]}" --graph-file "$work/kept.json" "$built.wasm" -o "$work/kept.wasm" >/dev/null
small=$work/small.wasm
wasm-opt "${features[@]}" -Oz --strip-debug --strip-producers "$work/kept.wasm" -o "$small"
# The same format as gzip's, some 4 % smaller.
zopfli --i15 -c "$small" >"$here/farcone.wasm.gz"
{
    sha256sum src/kit/core/build.sh
    # Sources, as the compiler names them in its dep-info.
    sed -n 's/^[^:]*\.wasm: //p' "$built.d" | tr ' ' '\n' | sed "s|^$PWD/||" | grep '^src/' | LC_ALL=C sort -u | xargs sha256sum
    echo "$(cargo tree --locked --no-default-features --target "$triple" -e normal --prefix none --format "{p} {f}" | tail -n +2 | LC_ALL=C sort -u | sha256sum | cut -d' ' -f1)  cargo tree"
} >"$here/built-from.txt"
ls -l "$here/farcone.wasm.gz"
