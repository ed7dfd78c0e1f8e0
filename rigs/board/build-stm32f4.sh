#!/usr/bin/env bash
# Builds an image for a chip of the folder stm32f4/chips and says where it is: `build-stm32f4.sh [CHIP [emulated]]`.
# VANEBENCH_CRYSTAL_MHZ states the board's crystal (8 where it is not set).
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")"

export VANEBENCH_CHIP=${1:-F405RG}
world=${2:-}
features=()
[[ -z $world ]] || features=(--features "$world")
./toolchain cargo build --release --quiet -p vanebench-stm32f4 "${features[@]}"
built=target/${VANEBENCH_TARGET:-thumbv7em-none-eabihf}/release/vanebench-stm32f4
./no-alloc "$built" || exit 1
mkdir -p target/images
image=target/images/vanebench-$VANEBENCH_CHIP${world:+-$world}.elf
cp "$built" "$image"
echo "$PWD/$image"
