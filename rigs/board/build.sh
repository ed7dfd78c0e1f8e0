#!/usr/bin/env bash
# Builds the board image and says where it is and what it takes. Further arguments go to cargo.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")"

./toolchain cargo build --release --quiet "$@"
image=$PWD/target/${VANEBENCH_TARGET:-thumbv7em-none-eabihf}/release/vanebench-board
./no-alloc "$image" || exit 1
echo "$image"
