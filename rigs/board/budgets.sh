#!/usr/bin/env bash
# Prints what the image takes and what a tick costs, beside what is allowed and whether it is kept.
#
# Flash, RAM and the stack's bound come from the linked image, its log included. The rest is measured on the emulated board over the
# 102 400 ticks of the bit-exactness run: the emulator counts instructions (-icount) and drives the board's timer 0 by
# them, the image reads that timer around each tick, each handler and each critical section, and paints its stack.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")"

image=$(./build.sh)
sections=$(size -A "$image")
section() { awk -v name="$1" '$1 == name { print $2 }' <<<"$sections"; }

# row WHAT MEASURED UNIT MOST AIM: MOST and AIM may be empty.
row() {
    local verdict='' allowed=''
    if [[ -n $4 ]]; then
        allowed="at most $4${5:+, aim $5}"
        if (($2 > $4)); then verdict=MISSED; elif [[ -n $5 ]] && (($2 <= $5)); then verdict='aim reached'; else verdict=kept; fi
    fi
    printf '%-28s %8s %-13s %-28s %s\n' "$1" "$2" "$3" "$allowed" "$verdict"
}

row 'flash: code' "$(section .text)" bytes '' ''
row 'flash: constants' "$(section .rodata)" bytes '' ''
row 'flash: in all' $(($(section .vector_table) + $(section .text) + $(section .rodata) + $(section .data))) bytes 114688 65536
row 'RAM: static' $(($(section .data) + $(section .bss) + $(section .uninit))) bytes 18432 12288
row 'stack, static bound' "$(./stack-bound "$image" 'Keep.*prepare' main DefaultHandler NonMaskableInt HardFault)" bytes 6144 4096
cd ../..
measured=$(cargo test --quiet -p vanebench-checks --test board -- bit_exact --ignored --nocapture | grep '^budget|')
while IFS='|' read -r _ what value unit most aim; do row "$what" "$value" "$unit" "$most" "$aim"; done <<<"$measured"
