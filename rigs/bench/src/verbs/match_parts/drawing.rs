//! Both rings drawn to one scale: vanes, throats and wheel at the closed and at the open stop.

use parts::matching::{RingOutline, StopOutline, Study};

/// Room around the largest circle, mm.
const MARGIN_MM: f64 = 2.0;

/// The drawing of both rings as HTML with SVG.
pub(super) fn rings(study: &Study) -> String {
    let reach = study.rings.iter().map(reach_mm).fold(0.0, f64::max) + MARGIN_MM;
    let names = ["old", "new"];
    let mut figures = String::new();
    for (at, stop) in ["closed", "open"].into_iter().enumerate() {
        for (ring, name) in study.rings.iter().zip(names) {
            figures += &figure(ring, &ring.stops[at], reach, &format!("{name}, {stop}"));
        }
    }
    format!("<div class=\"rings\">{figures}</div>")
}

/// Largest radius that anything of a ring reaches.
fn reach_mm(ring: &RingOutline) -> f64 {
    let ends = ring.stops.iter().flat_map(|stop| stop.vanes.iter().flatten());
    ends.map(|&(x, y)| x.hypot(y) + ring.thickness_mm / 2.0).fold(ring.pivot_radius_mm, f64::max)
}

fn line(class: &str, width: f64, [a, b]: [(f64, f64); 2]) -> String {
    let place = |(x, y): (f64, f64)| format!("{x:.2} {:.2}", -y);
    format!("<path class=\"{class}\" stroke-width=\"{width:.2}\" d=\"M{}L{}\"/>", place(a), place(b))
}

fn figure(ring: &RingOutline, stop: &StopOutline, reach: f64, name: &str) -> String {
    const HAIR_MM: f64 = 0.3;
    const THROAT_MM: f64 = 0.7;
    let circle = |class: &str, radius: f64| {
        format!("<circle class=\"{class}\" r=\"{radius:.2}\" stroke-width=\"{HAIR_MM}\"/>")
    };
    let vanes: String = stop.vanes.iter().map(|&vane| line("vane", ring.thickness_mm, vane)).collect();
    let words = format!("{name}: vanes at {:.1}°, throat {:.2} mm", stop.angle_deg, stop.throat_mm);
    format!(
        "<figure><figcaption>{words}</figcaption><svg viewBox=\"{from:.2} {from:.2} {side:.2} {side:.2}\" \
         role=\"img\" aria-label=\"{words}\">{}{}{}{vanes}{}</svg></figure>",
        circle("circle", ring.pivot_radius_mm),
        circle("wheel", ring.wheel_radius_mm.0),
        circle("wheel", ring.wheel_radius_mm.1),
        line("throat", THROAT_MM, stop.throat),
        from = -reach,
        side = 2.0 * reach,
    )
}
