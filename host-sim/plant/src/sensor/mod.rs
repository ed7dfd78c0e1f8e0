//! Sensors: what the controller is told instead of the truth.

mod channel;
mod channels;
mod noise;
mod position;

pub use channel::{ChannelFault, ChannelParams};
pub(crate) use channels::{Channels, Readings, Signal};
pub(crate) use noise::Noise;
pub(crate) use position::PositionSensor;
pub use position::{PositionFault, PositionSensorParams};
