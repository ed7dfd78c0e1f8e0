#!/usr/bin/env bash
# Prints what the image takes and what a tick costs, beside what is allowed.
#
# Flash and RAM come from the linked image. The rest is measured on the emulated board over the 102 400 ticks of
# the bit-exactness run: the emulator counts instructions (-icount) and drives the board's timer 0 by them,
# the image reads that timer around each tick, each handler and each critical section, and paints its stack.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")"

image=$(./build.sh)
sections=$(size -A "$image")
section() { awk -v name="$1" '$1 == name { print $2 }' <<<"$sections"; }
row() { printf '%-28s %8s %-13s %s\n' "$@"; }

row what measured unit allowed
row 'flash: code' "$(section .text)" bytes '-'
row 'flash: constants' "$(section .rodata)" bytes '-'
row 'flash: in all' $(($(section .vector_table) + $(section .text) + $(section .rodata) + $(section .data))) bytes '65536, aim 40960'
row 'RAM: static' $(($(section .data) + $(section .bss) + $(section .uninit))) bytes '12288, aim 6144'
cd ../..
cargo test --quiet -p vanebench-checks --test board_bit_exact -- --ignored --nocapture |
    awk -F'|' '$1 == "budget" { printf "%-28s %8s %-13s %s\n", $2, $3, $4, $5; seen = 1 } END { exit !seen }'
