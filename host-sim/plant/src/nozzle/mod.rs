//! The nozzle as parts: a ring of pivoting vanes, the linkage that turns it, the area it leaves, the turbine
//! wheel's own throat behind it, and a ring as it stands in a world's file.

pub mod geometry;
pub mod linkage;
pub mod model;
pub mod params;
pub mod wheel;

pub use geometry::{RingDimensions, RingError, VaneRing};
pub use linkage::{FourBar, Linkage, LinkageError, SlotDrive};
pub use model::{AreaAt, NozzleModel, in_series_mm2};
pub use params::{RingLinkage, RingParams, USUAL_DISCHARGE, USUAL_GAP_DISCHARGE};
pub(crate) use wheel::INVENTED_WHEEL;
pub use wheel::{TurbineWheel, TwoThroatCase, TwoThroatFlow};
