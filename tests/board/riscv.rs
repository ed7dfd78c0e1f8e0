//! The controller on a RISC-V processor without a floating-point unit, on what the bit-exact run records: every field of
//! every tick's output, and every byte that goes back over the link, bit by bit. IEEE 754-2019 and the other processor are
//! the reference, as in `bit_exact`.
//!
//! Needs the image and QEMU: `.ci/other-processor`.

use std::fs::OpenOptions;
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::process::Command;

use lockstep::{Ask, ITEM_BYTES, Stepped, TickDone, decode, encode};
use serde::Serialize;
use tempfile::TempDir;

use crate::recorded::{Batch, ROUND_TICKS, Run, Seen, WORLD_SEED, identity};
use crate::support::ROOM;

#[path = "../../rigs/board/riscv/src/window.rs"]
mod window;

/// Bytes of the machine's RAM.
const RAM_BYTES: u64 = 128 << 20;
const IMAGE: &str = "rigs/board/target/riscv32imac-unknown-none-elf/release/vanebench-riscv";
/// Seconds after which a replay that does not end counts as hung; it takes one to two minutes.
const LIFE: &str = "900";

#[test]
#[ignore = "needs QEMU and the RISC-V image; .ci/other-processor runs it"]
fn riscv_and_host_do_not_differ_in_one_bit_with_faults_motions_and_learns() {
    let software = concat!("vanebench-riscv ", env!("CARGO_PKG_VERSION"));
    let named = identity("emulated RISC-V board", software, "QEMU virt", 0);
    let batches: Vec<Batch> = Run::new(named, WORLD_SEED, ROUND_TICKS).collect();
    let answers = replay(&asks(&batches));
    let mut rest = answers.as_slice();
    let mut seen = Seen::default();
    let mut instructions: Vec<u32> = Vec::new();
    for batch in &batches {
        let ticks: Vec<TickDone> = batch.samples.iter().map(|_| take(&mut rest)).collect();
        // Behind its own item there is as much room as the longest item takes.
        let (stepped, _) = decode::<Stepped>(rest).unwrap();
        let (link, after) = rest[ITEM_BYTES..].split_at(usize::from(stepped.sent));
        rest = after;
        batch.compare(&ticks, link);
        batch.outputs.iter().for_each(|output| seen.note(output));
        instructions.extend(ticks.iter().map(|tick| tick.clocks));
    }
    seen.check();
    instructions.sort_unstable();
    let (median, worst) = (instructions[instructions.len() / 2], instructions[instructions.len() - 1]);
    println!("{} ticks: 0 differing bits; {seen:?}", instructions.len());
    println!("instructions of a tick: median {median}, worst {worst}");
}

/// What the image is given: as `rigs/board/riscv/src/window.rs` says.
fn asks(batches: &[Batch]) -> Vec<u8> {
    let mut asks = Vec::new();
    for batch in batches {
        let (heard, samples) = (batch.bytes.len() as u32, batch.samples.len() as u16);
        put(&mut asks, &Ask::Step { heard, samples, room: ROOM as u16 });
        asks.extend(&batch.bytes);
        batch.samples.iter().for_each(|sample| put(&mut asks, sample));
    }
    put(&mut asks, &Ask::Usage);
    assert!(asks.len() as u64 <= window::PART_BYTES);
    asks
}

fn put<T: Serialize>(to: &mut Vec<u8>, item: &T) {
    let mut room = [0; ITEM_BYTES];
    let used = encode(item, &mut room).unwrap();
    to.extend(&room[..used]);
}

fn take<'a, T: serde::Deserialize<'a>>(rest: &mut &'a [u8]) -> T {
    let (item, used) = decode(rest).unwrap();
    *rest = &rest[used..];
    item
}

/// Runs the machine to its end; gives what it has left in memory.
fn replay(asks: &[u8]) -> Vec<u8> {
    assert!(Path::new(IMAGE).is_file(), "{IMAGE}: build it with rigs/board/build-riscv.sh");
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("ram");
    let ram = OpenOptions::new().read(true).write(true).create_new(true).open(&path).unwrap();
    ram.set_len(RAM_BYTES).unwrap();
    ram.write_all_at(asks, window::ASKS_AT).unwrap();
    let memory =
        format!("memory-backend-file,id=ram,share=on,size={},mem-path={}", RAM_BYTES, path.display());
    let mut command = Command::new("timeout");
    command.args([
        "-k",
        "5",
        LIFE,
        "qemu-system-riscv32",
        "-M",
        "virt,memory-backend=ram",
        "-object",
        &memory,
    ]);
    command.args(["-m", &format!("{}M", RAM_BYTES >> 20), "-bios", "none", "-display", "none"]);
    command.args(["-serial", "none", "-monitor", "none", "-icount", "shift=0", "-kernel", IMAGE]);
    let status = command.status().unwrap();
    assert!(status.success(), "the replay broke off: {status}");
    let mut answers = vec![0; window::PART_BYTES as usize];
    ram.read_exact_at(&mut answers, window::ANSWERS_AT).unwrap();
    answers
}
