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
# The emulated image can be told to outgrow its stack. Of the handlers that end the run one counts: a second failure in
# its first instructions is none that a bound can serve, and a fault begins on a fresh stack.
if [[ -z $world ]]; then
    address() { nm "$built" | awk -v name="$1" '$3 == name { print $1 }'; }
    room=$((16#$(address _stack_start) - 16#$(address _stack_end)))
    needed=$(./stack-bound "$built" 'begin_session|Keep.*prepare' main SysTick USART1 DefaultHandler)
    if ((needed > room)); then
        echo "$built: may need $needed bytes of stack and has $room; see stack-bound --chain" >&2
        exit 1
    fi
fi
mkdir -p target/images
image=target/images/vanebench-$VANEBENCH_CHIP${world:+-$world}.elf
cp "$built" "$image"

# The image knows its own check and length: gzip ends with just these two (RFC 1952), four bytes each.
parts=$(mktemp)
trap 'rm -f "$parts"' EXIT
for section in .vector_table .text .rodata .data; do
    read -r offset size < <(readelf -SW "$image" | awk -v name="$section" '{ sub(/^ *\[ *[0-9]+\] /, "") } $1 == name { print $4, $5 }')
    tail -c +$((16#$offset + 1)) "$image" | head -c $((16#$size)) >>"$parts" || true
done
offset=$(readelf -SW "$image" | awk '{ sub(/^ *\[ *[0-9]+\] /, "") } $1 == ".image_check" { print $4 }')
gzip -c "$parts" | tail -c 8 | dd of="$image" bs=1 seek=$((16#$offset)) conv=notrunc status=none
echo "$PWD/$image"
