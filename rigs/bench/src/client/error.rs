//! What can go wrong between bench tool and board: each message names the port, what was seen and what
//! to try next.

use firmware_core::link::{LinkCounters, PROTOCOL_VERSION, Refusal};
use firmware_core::units::TICKS_PER_SECOND;

use super::BAUD;
use super::refusal::RefusalWords;

/// Why the talk did not start or did not go on.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ClientError {
    /// No such device.
    #[error(
        "port {port}: no such port. Check the cable and that the adapter has power; `vanebench ports` lists what there is"
    )]
    PortMissing {
        /// As given.
        port: String,
    },
    /// The user may not open it.
    #[error(
        "port {port}: not allowed to open it. Add your user to the group that owns the device (often `dialout`) and log in again"
    )]
    PortDenied {
        /// As given.
        port: String,
    },
    /// Another program has it.
    #[error(
        "port {port}: in use by another program. Close other bench tools and terminal programs on this port, then try again"
    )]
    PortBusy {
        /// As given.
        port: String,
    },
    /// It opens, but is no serial line.
    #[error("port {port}: not a usable serial port ({system}). `vanebench ports` lists what there is")]
    NotASerialPort {
        /// As given.
        port: String,
        /// What the system said.
        system: String,
    },
    /// The hello was answered by nothing at all.
    #[error(
        "port {port}: no answer, not one byte. Check that the board has power, that this is its port and that its software is loaded; a board that hears another speed than {BAUD} baud, 8N1, stays silent too"
    )]
    NoAnswer {
        /// As given.
        port: String,
    },
    /// Bytes that are no frames and no text: wrong speed or a bad line.
    #[error(
        "port {port}: {bytes} bytes came and not one is a frame (first: {first}). The speed is probably \
         wrong: the link is {BAUD} baud, 8N1, at both ends. If the speed is right, check ground and cable"
    )]
    Garbled {
        /// As given.
        port: String,
        /// Bytes seen.
        bytes: u64,
        /// The first of them, in hex.
        first: String,
    },
    /// Readable text: something else is talking.
    #[error(
        "port {port}: something else is talking here, it says \"{text}\". Check that this is the board's port; `vanebench ports` lists the others"
    )]
    OtherTalker {
        /// As given.
        port: String,
        /// The start of what it says.
        text: String,
    },
    /// Sound frames of another protocol version.
    #[error(
        "port {port}: the board speaks protocol version {board}, this tool speaks {PROTOCOL_VERSION}. Use the tool that belongs to the board's software, or update the board"
    )]
    OtherVersion {
        /// As given.
        port: String,
        /// Version of the board.
        board: u8,
    },
    /// A board talks here, but not to this tool.
    #[error(
        "port {port}: a board sends here ({frames} frames of another talk) but does not answer: it does \
         not hear this tool. Check the line from the adapter to the board; close other programs on this \
         line"
    )]
    NotHeard {
        /// As given.
        port: String,
        /// Sound frames of another talk.
        frames: u32,
    },
    /// What the tool says comes back.
    #[error(
        "port {port}: the line echoes: the tool's own bytes come back. Look for a loop-back plug, receive \
         and transmit lines that touch, or an adapter whose local echo is on"
    )]
    Echo {
        /// As given.
        port: String,
    },
    /// Another program has opened a talk of its own.
    #[error(
        "port {port}: another program said hello to the board, which has released the drive. What was \
         recorded is kept. Close other tools on this line, then run again"
    )]
    OtherHost {
        /// As given.
        port: String,
    },
    /// The line is gone.
    #[error(
        "port {port}: the line was cut ({system}). What was recorded is kept. Check plug and cable; the board releases the drive on its own"
    )]
    HungUp {
        /// As given.
        port: String,
        /// What the system said.
        system: String,
    },
    /// No sound frame for too long in the middle of the talk.
    #[error(
        "port {port}: the board went silent for {waited_ms} ms ({}). What was recorded is kept. Check the board's power and the cable",
        seen(counters)
    )]
    Silent {
        /// As given.
        port: String,
        /// How long the tool waited.
        waited_ms: u64,
        /// What had come until then.
        counters: LinkCounters,
    },
    /// Frames come, but only another talk's.
    #[error(
        "port {port}: only frames of another talk come ({}). Another program uses this line. What was recorded is kept. Close it, then run again",
        seen(counters)
    )]
    OnlyForeign {
        /// As given.
        port: String,
        /// What had come until then.
        counters: LinkCounters,
    },
    /// Bytes come, but no sound frame among them any more.
    #[error(
        "port {port}: no sound frame in {waited_ms} ms, only damaged bytes ({}). What was recorded is \
         kept. Check cable and ground, and look for interference from cables beside it",
        seen(counters)
    )]
    OnlyDamaged {
        /// As given.
        port: String,
        /// How long the tool waited.
        waited_ms: u64,
        /// What had come until then.
        counters: LinkCounters,
    },
    /// The board talks, but nothing goes on.
    #[error(
        "port {port}: the board talks, but {waiting_for} did not come in {waited_ms} ms ({}). What was \
         recorded is kept. The line loses or delays one direction: check cable and adapter, then run again",
        seen(counters)
    )]
    Stalled {
        /// As given.
        port: String,
        /// What did not come.
        waiting_for: &'static str,
        /// How long the tool waited.
        waited_ms: u64,
        /// What had come until then.
        counters: LinkCounters,
    },
    /// The line takes no more bytes.
    #[error(
        "port {port}: the line takes no more bytes: the other end is not reading. What was recorded is \
         kept. Check the board's power and the adapter"
    )]
    Blocked {
        /// As given.
        port: String,
    },
    /// Answers come too late to keep a drive in hand.
    #[error(
        "port {port}: the line is slow: answers take {took_ms} ms, and the board releases the drive after \
         {lease_ms} ms of silence. Use a direct cable without a network in between"
    )]
    Slow {
        /// As given.
        port: String,
        /// Time from command to reply.
        took_ms: u64,
        /// The board's drive lease.
        lease_ms: u16,
    },
    /// A hello of this very talk reached the board again.
    #[error(
        "port {port}: the board was greeted a second time in this talk and has released the drive: the line \
         repeats what is sent. What was recorded is kept. Check adapter and cable, then run again"
    )]
    GreetedAgain {
        /// As given.
        port: String,
    },
    /// The board counts another number of ticks in a second.
    #[error(
        "port {port}: the board runs {board} ticks a second; this tool needs {}. Use the tool that belongs \
         to the board's software",
        TICKS_PER_SECOND
    )]
    OtherTickRate {
        /// As given.
        port: String,
        /// The board's rate, 1/s.
        board: u16,
    },
    /// The board lets go sooner than this tool can speak.
    #[error(
        "port {port}: the board releases the drive after {lease_ms} ms of silence; this tool needs \
         {least_ms} ms or more. Use the tool that belongs to the board's software"
    )]
    LeaseTooShort {
        /// As given.
        port: String,
        /// The board's lease.
        lease_ms: u16,
        /// The shortest that can be kept up.
        least_ms: u16,
    },
    /// The motion does not fit the board.
    #[error(
        "port {port}: the motion has {wanted} segments, the board holds {max}. Ask for fewer points in the profile's plan"
    )]
    TooManySegments {
        /// As given.
        port: String,
        /// Segments of the motion.
        wanted: usize,
        /// Segments that the board says it holds.
        max: u16,
    },
    /// The user asked to stop.
    #[error("stopped by the user; the drive was released")]
    Interrupted,
    /// The board started anew in the middle of the talk.
    #[error(
        "port {port}: the board has restarted: it lost its power or its software failed. What was recorded is kept. Check the supply, then run again"
    )]
    Restarted {
        /// As given.
        port: String,
    },
    /// The board says no.
    #[error("port {port}: the board refuses {command}: {}", RefusalWords(refusal))]
    Refused {
        /// As given.
        port: String,
        /// What was asked.
        command: &'static str,
        /// Why not.
        refusal: Refusal,
    },
    /// Settings, segments or texts that no frame can hold.
    #[error("port {port}: {command} does not fit into a frame; shorten it")]
    TooLong {
        /// As given.
        port: String,
        /// What was to be sent.
        command: &'static str,
    },
}

fn seen(counters: &LinkCounters) -> String {
    format!(
        "{} sound frames before, {} lost, {} cut, {} damaged, {} too long, {} of another talk, {} echoed",
        counters.frames,
        counters.lost,
        counters.cut,
        counters.damaged,
        counters.overlong,
        counters.foreign,
        counters.echoed
    )
}
