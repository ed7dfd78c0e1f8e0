#!/usr/bin/env bash
# Builds the image for QEMU's RISC-V machine `virt` and says where it is.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")"

export VANEBENCH_TARGET=riscv32imac-unknown-none-elf
./toolchain cargo clippy --release --quiet -p board-kit -p vanebench-riscv -- -D warnings
./toolchain cargo build --release --quiet -p vanebench-riscv
image=$PWD/target/$VANEBENCH_TARGET/release/vanebench-riscv
./no-alloc "$image" || exit 1
echo "$image"
