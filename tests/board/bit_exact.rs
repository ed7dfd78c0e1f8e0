//! The controller on the emulated Cortex-M4F and the controller on this machine, on the same samples and the
//! same link bytes: every field of every tick's output, and every byte that goes back over the link, bit
//! by bit.
//!
//! IEEE 754-2019 fixes the result of each `+ - * /`, comparison and square root, and `libm` computes the rest
//! from those, so two processors may not differ by a single bit. The reference is the other processor.
//!
//! Needs the image and QEMU: `rigs/board/build.sh && cargo test --release --test board -- bit_exact --ignored`;
//! `BOARD_LAW=model-trim` runs another law of boost control than the default one.

use lockstep::{Usage, instructions};

use crate::recorded::{ROUND_TICKS, Run, Seen, WORLD_SEED, identity};
use crate::support::{Bench, ROOM, powered_board};

/// Names how many ticks to compare; one round where it does not.
const TICKS_VARIABLE: &str = "BOARD_TICKS";
fn ticks() -> u32 {
    std::env::var(TICKS_VARIABLE).map_or(ROUND_TICKS, |count| count.parse().expect("a number of ticks"))
}

#[test]
#[ignore = "needs QEMU and the board image; .ci/run runs it"]
fn board_and_host_do_not_differ_in_one_bit_with_faults_motions_and_learns() {
    let build = Bench::powered().greet().identity.build;
    let mut seen = Seen::default();
    let mut clocks: Vec<u32> = Vec::new();
    let mut usage = None;
    for round in 0..ticks().div_ceil(ROUND_TICKS) {
        let most = (ticks() - round * ROUND_TICKS).min(ROUND_TICKS);
        usage = Some(compare(build, (WORLD_SEED + u64::from(round), most), &mut seen, &mut clocks));
    }
    seen.check();
    println!("{} ticks: 0 differing bits; {seen:?}", clocks.len());
    report(&mut clocks, usage.unwrap());
}

/// A board from power on against the controller in this program, in one world.
fn compare(build: u32, (seed, ticks): (u64, u32), seen: &mut Seen, clocks: &mut Vec<u32>) -> Usage {
    let mut board = powered_board();
    let software = concat!("vanebench-board ", env!("CARGO_PKG_VERSION"));
    let named = identity("emulated Cortex-M4F board", software, "MPS2 AN386", build);
    for batch in Run::new(named, seed, ticks) {
        let step = board
            .step(&batch.bytes, &batch.samples, ROOM)
            .unwrap_or_else(|error| panic!("at tick {}: {error}", batch.first.0));
        batch.compare(&step.ticks, &step.link);
        batch.outputs.iter().for_each(|output| seen.note(output));
        clocks.extend(step.ticks.iter().map(|tick| tick.clocks));
    }
    board.usage().unwrap()
}

/// What `rigs/board/budgets.sh` puts into its table.
fn report(clocks: &mut [u32], usage: Usage) {
    clocks.sort_unstable();
    let at = |share: f64| clocks[((clocks.len() - 1) as f64 * share) as usize];
    let lines = [
        ("tick, median", at(0.5), "3000|2500"),
        ("tick, 99 of 100", at(0.99), "3000|2500"),
        ("tick, worst", at(1.0), "3000|2500"),
        ("interrupts off, longest", usage.interrupts_off_clocks, "|"),
        ("interrupt handler, longest", usage.handler_clocks, "|"),
    ];
    for (what, clocks, most_and_aim) in lines {
        println!("budget|{what}|{}|instructions|{most_and_aim}", instructions(clocks));
    }
    println!("budget|stack, high water|{}|bytes|6144|4096", usage.stack_bytes);
}
