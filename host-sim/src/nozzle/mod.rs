//! The nozzle as parts: a ring of pivoting vanes, the linkage that turns it, the area it leaves.

pub mod geometry;
pub mod linkage;
pub mod model;

pub use geometry::{RingDimensions, RingError, VaneRing};
pub use linkage::{FourBar, Linkage, LinkageError, SlotDrive};
pub use model::{AreaAt, NozzleModel};
