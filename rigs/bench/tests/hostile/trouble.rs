//! What can go wrong on a line.

/// What goes wrong on the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mishap {
    /// Nothing.
    Clean,
    /// A frame is lost.
    Drop,
    /// A frame comes twice.
    Double,
    /// One bit of a frame is another.
    Flip,
    /// A frame with samples is lost; commands and replies all arrive.
    DropSamples,
    /// The first three frames with samples are lost.
    LoseStart,
    /// The word that the drive was let go is lost, once.
    LoseReleased,
    /// A frame and those behind it come late, up to 80 ms.
    Delay,
    /// Nothing passes for up to 3 s, then everything.
    Stall,
    /// A run of bytes is gone, across frames.
    Swallow,
    /// One of the last frames comes again, in between.
    Repeat,
    /// Frames of another talk: another program's questions, another board's answers.
    Foreign,
    /// Another program's Stop.
    ForeignStop,
    /// Another program's Hello.
    ForeignHello,
    /// Now and then a frame comes back to its sender.
    Echo,
    /// Every frame comes back to its sender, from the first.
    EchoAlways,
    /// The device vanishes and comes back under the same name.
    Reopen,
    /// The board says that it counts 500 ticks a second.
    TickRate,
}

impl Mishap {
    pub const ALL: [Self; 18] = [
        Self::Clean,
        Self::Drop,
        Self::Double,
        Self::Flip,
        Self::DropSamples,
        Self::LoseStart,
        Self::LoseReleased,
        Self::Delay,
        Self::Stall,
        Self::Swallow,
        Self::Repeat,
        Self::Foreign,
        Self::ForeignStop,
        Self::ForeignHello,
        Self::Echo,
        Self::EchoAlways,
        Self::Reopen,
        Self::TickRate,
    ];

    /// True where going on would be wrong: the drive was let go, the line is another, or its words mean something else.
    pub fn must_stop(self) -> bool {
        match self {
            Self::ForeignStop | Self::ForeignHello | Self::EchoAlways | Self::Reopen | Self::TickRate => true,
            Self::Clean
            | Self::Drop
            | Self::Double
            | Self::Flip
            | Self::DropSamples
            | Self::LoseStart
            | Self::LoseReleased
            | Self::Delay
            | Self::Stall
            | Self::Swallow
            | Self::Repeat
            | Self::Foreign
            | Self::Echo => false,
        }
    }

    /// True where every word arrives, in order and in time: nothing excuses a run that decides nothing.
    pub fn loses_nothing(self) -> bool {
        match self {
            Self::Clean | Self::Double | Self::Delay | Self::Repeat | Self::Foreign | Self::Echo => true,
            Self::Drop
            | Self::Flip
            | Self::DropSamples
            | Self::LoseStart
            | Self::LoseReleased
            | Self::Stall
            | Self::Swallow
            | Self::ForeignStop
            | Self::ForeignHello
            | Self::EchoAlways
            | Self::Reopen
            | Self::TickRate => false,
        }
    }

    /// Once in a run, instead of a share of all frames.
    pub(super) fn is_single(self) -> bool {
        match self {
            Self::Stall | Self::Swallow | Self::ForeignStop | Self::ForeignHello | Self::Reopen => true,
            Self::Clean
            | Self::Drop
            | Self::Double
            | Self::Flip
            | Self::DropSamples
            | Self::LoseStart
            | Self::LoseReleased
            | Self::Delay
            | Self::Repeat
            | Self::Foreign
            | Self::Echo
            | Self::EchoAlways
            | Self::TickRate => false,
        }
    }
}

/// What makes a mishap harder to see than a line could: each takes one safeguard of the link away.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Disguise {
    /// None: what a line can do.
    #[default]
    None,
    /// Foreign frames carry this talk's number and the next sequence number.
    RightTalk,
    /// Repeated frames carry the next sequence number.
    RightNumber,
    /// A flipped bit gets a checksum that fits.
    RightChecksum,
    /// A question asked again never arrives.
    NoSecondAsking,
}

/// What goes wrong, how often, and by which draw.
#[derive(Debug, Clone, Copy)]
pub struct Trouble {
    pub mishap: Mishap,
    /// Share of the frames that it strikes; a single mishap strikes one of the first 250.
    pub share: f64,
    pub seed: u64,
    pub disguise: Disguise,
}

impl Trouble {
    pub const CLEAN: Self = Self { mishap: Mishap::Clean, share: 0.0, seed: 0, disguise: Disguise::None };
}
