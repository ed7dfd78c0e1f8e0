//! Whose frame is whose. Every frame carries the number of its talk and which end wrote it, so that neither end
//! takes another program's frames, or its own come back, for the other end's.

use super::PROTOCOL_VERSION;

/// Number of a talk: chosen by the host, set by its hello, carried by every frame of both ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Talk(u16);

impl Talk {
    /// The lowest number; rigs whose runs must repeat to the byte use no other.
    pub const FIRST: Self = Self(1);
    /// The highest number: the top bit on the line tells which end wrote.
    pub const LAST: Self = Self(0x7FFF);

    /// The talk with this number; `None` for 0 and for more than 15 bits.
    #[must_use]
    pub const fn try_new(number: u16) -> Option<Self> {
        if number >= Self::FIRST.0 && number <= Self::LAST.0 { Some(Self(number)) } else { None }
    }

    /// The number.
    #[must_use]
    pub const fn number(self) -> u16 {
        self.0
    }
}

/// The two ends of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum End {
    /// The bench tool.
    Host,
    /// The board.
    Board,
}

/// What stands before the message in a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Head {
    /// Protocol version of the writer. In another version nothing after it means what it says here.
    pub version: u8,
    /// The talk; `None` for number 0, which no talk has.
    pub talk: Option<Talk>,
    /// The end that wrote.
    pub sender: End,
    /// Sequence number of the writer.
    pub sequence: u16,
}

/// How a sound frame stands to a talk, seen from one of its ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Belonging {
    /// The other end's, in this talk.
    OfThisTalk,
    /// Of another talk: another program uses the line, or an earlier talk is not yet out of it.
    Foreign,
    /// What this end itself, or another of its kind, wrote: the line sends bytes back.
    Echo,
    /// Of another protocol version.
    OtherVersion,
}

/// Bytes of a head on the line.
pub(super) const HEAD_BYTES: usize = 5;
/// Set in the talk number of frames that the board wrote.
const BOARD_MARK: u16 = 0x8000;

impl Head {
    pub(super) fn to_bytes(self) -> [u8; HEAD_BYTES] {
        let mark = match self.sender {
            End::Host => 0,
            End::Board => BOARD_MARK,
        };
        let [talk_low, talk_high] = (self.talk.map_or(0, Talk::number) | mark).to_le_bytes();
        let [low, high] = self.sequence.to_le_bytes();
        [self.version, talk_low, talk_high, low, high]
    }

    pub(super) fn of_bytes([version, talk_low, talk_high, low, high]: [u8; HEAD_BYTES]) -> Self {
        let marked = u16::from_le_bytes([talk_low, talk_high]);
        Self {
            version,
            talk: Talk::try_new(marked & !BOARD_MARK),
            sender: if marked & BOARD_MARK == 0 { End::Host } else { End::Board },
            sequence: u16::from_le_bytes([low, high]),
        }
    }

    /// Whose frame this is to the end that reads it.
    #[must_use]
    pub fn belonging(&self, reader: End, talk: Option<Talk>) -> Belonging {
        if self.version != PROTOCOL_VERSION {
            Belonging::OtherVersion
        } else if self.sender == reader {
            Belonging::Echo
        } else if talk.is_some() && self.talk == talk {
            Belonging::OfThisTalk
        } else {
            Belonging::Foreign
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_talk_has_a_number_of_fifteen_bits_and_never_zero() {
        assert_eq!(
            [0, 1, 0x7FFF, 0x8000].map(|n| Talk::try_new(n).map(Talk::number)),
            [None, Some(1), Some(0x7FFF), None]
        );
    }

    proptest! {
        #[test]
        fn a_head_survives_its_bytes(bytes in any::<[u8; HEAD_BYTES]>()) {
            prop_assert_eq!(Head::of_bytes(bytes).to_bytes(), bytes);
        }

        #[test]
        fn only_the_other_end_of_this_talk_and_version_is_of_this_talk(bytes in any::<[u8; HEAD_BYTES]>(), number in 1u16..=0x7FFF) {
            let (head, talk) = (Head::of_bytes(bytes), Talk::try_new(number));
            let own = head.version == PROTOCOL_VERSION && head.sender == End::Host && head.talk == talk;
            prop_assert_eq!(head.belonging(End::Board, talk) == Belonging::OfThisTalk, own);
            prop_assert!(head.belonging(End::Board, None) != Belonging::OfThisTalk);
        }
    }
}
