//! Sensors: what the controller is told instead of the truth.

mod channel;
mod noise;
mod position;

pub(crate) use channel::Channel;
pub use channel::{ChannelFault, ChannelParams};
pub(crate) use noise::Noise;
pub(crate) use position::PositionSensor;
pub use position::{COUNTS_MAX, PositionFault, PositionSensorParams};
