//! Throat width of a ring of pivoting flat vanes, from the distance between neighbouring vanes.
//!
//! In: the ring's dimensions and a vane angle. Out: throat width and area, the moment of the gas on the
//! vanes, the radius that the trailing edges reach. Refuses rings that are no ring (too few vanes, lengths
//! not above zero).
//!
//! A vane is a flat plate with fully rounded ends (a stadium): all points within half a thickness of
//! a centre line. So the gap between two vanes is the distance between their centre lines less one
//! thickness; thickness 0 gives straight thin vanes. The angle is measured from the tangent: 0 lies along
//! the pivot circle, 90° points at the axis.

use core::f64::consts::PI;

/// Fewest vanes that make a ring: with fewer, "the neighbour" is the same vane on both sides.
pub(crate) const MIN_VANES: u32 = 3;

/// A point or direction in the plane of the ring, mm.
type Vector = (f64, f64);
/// A straight line between two points.
type Chord = (Vector, Vector);

/// A ring of equal pivoting vanes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VaneRing {
    vanes: u32,
    height_mm: f64,
    chord_mm: f64,
    thickness_mm: f64,
    pivot_radius_mm: f64,
    pivot_fraction: f64,
}

/// Dimensions of a ring, before they are checked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RingDimensions {
    /// Number of vanes.
    pub vanes: u32,
    /// Vane height, mm (along the axis).
    pub height_mm: f64,
    /// Overall chord, mm (tip to tip, rounded ends included).
    pub chord_mm: f64,
    /// Vane thickness, mm; 0 is a thin vane.
    pub thickness_mm: f64,
    /// Radius of the circle on which the pivots sit, mm.
    pub pivot_radius_mm: f64,
    /// Where the pivot sits along the chord, 0 leading (outer) edge … 1 trailing (inner) edge.
    pub pivot_fraction: f64,
}

/// Why dimensions make no ring.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum RingError {
    /// Fewer vanes than [`MIN_VANES`].
    #[error("{vanes} vanes; allowed: {MIN_VANES} or more. Count the vanes again")]
    TooFewVanes {
        /// The count given.
        vanes: u32,
    },
    /// A length or the pivot's place is outside what a ring can have.
    #[error("{name} is {value}; allowed: {allowed}. Measure it again")]
    OutOfRange {
        /// Which dimension.
        name: &'static str,
        /// The value given.
        value: f64,
        /// What is allowed.
        allowed: &'static str,
    },
}

impl VaneRing {
    /// Checks the dimensions.
    ///
    /// # Errors
    /// Too few vanes, a length that is not above zero, a plate thicker than long, a pivot off the chord.
    pub fn try_new(d: RingDimensions) -> Result<Self, RingError> {
        if d.vanes < MIN_VANES {
            return Err(RingError::TooFewVanes { vanes: d.vanes });
        }
        let positive = |value: f64| value.is_finite() && value > 0.0;
        let checks = [
            ("height", d.height_mm, "above 0 mm", positive(d.height_mm)),
            ("chord", d.chord_mm, "above 0 mm", positive(d.chord_mm)),
            ("pivot_radius", d.pivot_radius_mm, "above 0 mm", positive(d.pivot_radius_mm)),
            ("thickness", d.thickness_mm, "0 mm … chord", (0.0..d.chord_mm).contains(&d.thickness_mm)),
            ("pivot_fraction", d.pivot_fraction, "0 … 1", (0.0..=1.0).contains(&d.pivot_fraction)),
        ];
        for (name, value, allowed, holds) in checks {
            if !holds {
                return Err(RingError::OutOfRange { name, value, allowed });
            }
        }
        Ok(Self {
            vanes: d.vanes,
            height_mm: d.height_mm,
            chord_mm: d.chord_mm,
            thickness_mm: d.thickness_mm,
            pivot_radius_mm: d.pivot_radius_mm,
            pivot_fraction: d.pivot_fraction,
        })
    }

    /// Gap between neighbouring vanes at `angle_deg` from the tangent, mm. Zero or less: the vanes touch.
    #[must_use]
    pub fn gap_mm(&self, angle_deg: f64) -> f64 {
        let own = self.centre_line(angle_deg);
        nearest(own, self.next_of(own)).distance - self.thickness_mm
    }

    /// Throat width, mm: the gap, or 0 where the vanes touch.
    #[must_use]
    pub fn throat_mm(&self, angle_deg: f64) -> f64 {
        self.gap_mm(angle_deg).max(0.0)
    }

    /// Geometric throat area of the whole ring, mm²: vanes × height × throat width.
    #[must_use]
    pub fn throat_area_mm2(&self, angle_deg: f64) -> f64 {
        f64::from(self.vanes) * self.height_mm * self.throat_mm(angle_deg)
    }

    /// Moment of the gas about all pivots together with one unit of pressure across the throats, mm³; above 0
    /// it turns the vanes toward open. Zero where the vanes touch.
    ///
    /// An estimate: upstream of its throats a vane's outline carries the whole pressure, downstream none; flow
    /// and turning add nothing. A pressure along an outline from A to B turns about the pivot by
    /// (|B|² − |A|²)/2 per unit of height, whatever lies between.
    #[must_use]
    pub fn gas_moment_mm3(&self, angle_deg: f64) -> f64 {
        let own = self.centre_line(angle_deg);
        let next = self.next_of(own);
        let Nearest { distance, on_first, on_second } = nearest(own, next);
        if distance <= self.thickness_mm {
            return 0.0;
        }
        let rounding = self.thickness_mm / 2.0 / distance;
        let across = minus(on_second, on_first);
        let face = |foot: Vector, way: f64| (foot.0 + way * across.0, foot.1 + way * across.1);
        let pivot = (self.pivot_radius_mm, 0.0);
        // The outer face ends where the own vane meets the next one, the inner face where the one before
        // meets the own: there as here, only turned by one pitch.
        let outer = minus(face(on_first, rounding), pivot);
        let inner = minus(face(on_second, -rounding), rotate(pivot, self.pitch_rad()));
        f64::from(self.vanes) * self.height_mm * (dot(outer, outer) - dot(inner, inner)) / 2.0
    }

    /// Smallest radius that the trailing (inner) edges reach, mm.
    #[must_use]
    pub fn trailing_radius_mm(&self, angle_deg: f64) -> f64 {
        let (_, trailing) = self.centre_line(angle_deg);
        libm::hypot(trailing.0, trailing.1) - self.thickness_mm / 2.0
    }

    /// Centre lines of all vanes at `angle_deg` from the tangent, mm from the ring's axis: leading end, trailing end.
    #[must_use]
    pub fn centre_lines(&self, angle_deg: f64) -> Vec<[(f64, f64); 2]> {
        let own = self.centre_line(angle_deg);
        let turned = |place: u32| {
            let by = f64::from(place) * self.pitch_rad();
            [rotate(own.0, by), rotate(own.1, by)]
        };
        (0..self.vanes).map(turned).collect()
    }

    /// The throat between the first vane and the next: its ends, mm from the ring's axis.
    #[must_use]
    pub fn throat_line(&self, angle_deg: f64) -> [(f64, f64); 2] {
        let own = self.centre_line(angle_deg);
        let found = nearest(own, self.next_of(own));
        let across = minus(found.on_second, found.on_first);
        let share = if found.distance > 0.0 { self.thickness_mm / 2.0 / found.distance } else { 0.0 };
        let along = |from: Vector, by: f64| (from.0 + by * across.0, from.1 + by * across.1);
        [along(found.on_first, share), along(found.on_second, -share)]
    }

    /// Vane thickness, mm.
    #[must_use]
    pub fn thickness_mm(&self) -> f64 {
        self.thickness_mm
    }

    /// Radius of the pivot circle, mm.
    #[must_use]
    pub fn pivot_radius_mm(&self) -> f64 {
        self.pivot_radius_mm
    }

    /// Circumference of the pivot circle, mm.
    #[must_use]
    pub fn pivot_circumference_mm(&self) -> f64 {
        2.0 * PI * self.pivot_radius_mm
    }

    fn pitch_rad(&self) -> f64 {
        2.0 * PI / f64::from(self.vanes)
    }

    /// The centre line of the vane after this one.
    fn next_of(&self, (leading, trailing): Chord) -> Chord {
        let pitch = self.pitch_rad();
        (rotate(leading, pitch), rotate(trailing, pitch))
    }

    /// Ends of vane 0's centre line; its pivot lies on the x axis.
    fn centre_line(&self, angle_deg: f64) -> Chord {
        let angle = angle_deg.to_radians();
        let along = (-libm::sin(angle), libm::cos(angle));
        let rounding = self.thickness_mm / 2.0;
        let ahead = self.pivot_fraction * self.chord_mm - rounding;
        let behind = (1.0 - self.pivot_fraction) * self.chord_mm - rounding;
        let at = |distance: f64| (self.pivot_radius_mm + distance * along.0, distance * along.1);
        (at(-ahead), at(behind))
    }
}

fn rotate(p: Vector, angle: f64) -> Vector {
    let (sin, cos) = (libm::sin(angle), libm::cos(angle));
    (p.0 * cos - p.1 * sin, p.0 * sin + p.1 * cos)
}

fn minus(a: Vector, b: Vector) -> Vector {
    (a.0 - b.0, a.1 - b.1)
}

fn dot(a: Vector, b: Vector) -> f64 {
    a.0 * b.0 + a.1 * b.1
}

fn cross(a: Vector, b: Vector) -> f64 {
    a.0 * b.1 - a.1 * b.0
}

/// Where two segments come nearest to each other.
#[derive(Clone, Copy)]
struct Nearest {
    distance: f64,
    on_first: Vector,
    on_second: Vector,
}

impl Nearest {
    fn turned(self) -> Self {
        Self { on_first: self.on_second, on_second: self.on_first, ..self }
    }
}

fn point_to_segment(p: Vector, (a, b): Chord) -> Nearest {
    let (along, from) = (minus(b, a), minus(p, a));
    let length2 = dot(along, along);
    let share = if length2 > 0.0 { (dot(from, along) / length2).clamp(0.0, 1.0) } else { 0.0 };
    let distance = libm::hypot(from.0 - share * along.0, from.1 - share * along.1);
    Nearest { distance, on_first: p, on_second: (a.0 + share * along.0, a.1 + share * along.1) }
}

/// Nearest points of two segments: no distance where they cross, else one of the four ends.
fn nearest(first: Chord, second: Chord) -> Nearest {
    let side = |s: Chord, p: Vector| cross(minus(s.1, s.0), minus(p, s.0));
    let straddles = |s, (a, b): Chord| side(s, a) * side(s, b) < 0.0;
    let ends = [
        point_to_segment(first.0, second),
        point_to_segment(first.1, second),
        point_to_segment(second.0, first).turned(),
        point_to_segment(second.1, first).turned(),
    ];
    let nearest = ends.into_iter().fold(ends[0], |a, b| if b.distance < a.distance { b } else { a });
    let crosses = straddles(first, second) && straddles(second, first);
    Nearest { distance: if crosses { 0.0 } else { nearest.distance }, ..nearest }
}

#[cfg(test)]
mod tests;
