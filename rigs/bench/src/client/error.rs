//! What can go wrong between bench tool and board: each message names the port, what was seen and what
//! to try next.

use firmware_core::link::{LinkCounters, PROTOCOL_VERSION, Refusal};

use super::refusal::Reason;
use crate::port::BAUD;

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
        "port {port}: {bytes} bytes came and none of them is a frame (first: {first}). The speed is probably wrong: the link is {BAUD} baud, 8N1, at both ends. If it is right, look at ground and cable"
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
    /// What the tool says comes back.
    #[error(
        "port {port}: the line echoes: the tool's own words come back. Look for a loop-back plug, receive and transmit lines that touch, or an adapter whose local echo is on"
    )]
    Echo {
        /// As given.
        port: String,
    },
    /// Another program has opened a talk of its own.
    #[error(
        "port {port}: another program greeted the board, which has released the drive. What was recorded is kept. Close other tools on this line, then run again"
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
    /// The board started anew in the middle of the talk.
    #[error(
        "port {port}: the board has restarted: it lost its power or its software failed. What was recorded is kept. Check the supply, then run again"
    )]
    Restarted {
        /// As given.
        port: String,
    },
    /// The board says no.
    #[error("port {port}: the board refuses {command}: {}", Reason(refusal))]
    Refused {
        /// As given.
        port: String,
        /// What was asked.
        command: &'static str,
        /// Why not.
        refusal: Refusal,
    },
    /// Settings, segments or texts that no frame can hold.
    #[error("port {port}: {command} does not fit a frame; shorten it")]
    TooLong {
        /// As given.
        port: String,
        /// What was to be sent.
        command: &'static str,
    },
}

fn seen(counters: &LinkCounters) -> String {
    format!(
        "{} sound frames before, {} lost, {} cut, {} damaged, {} too long",
        counters.frames, counters.lost, counters.cut, counters.damaged, counters.overlong
    )
}
