"""Throat width of a ring of stadium-shaped vanes by brute force: every point of one vane's outline
against every point of its neighbours' outlines, then the nearest pair's surroundings sampled ever finer.
Made with Python 3.11, numpy 2.4.6. Invented dimensions.

    python3 throat_bruteforce.py > throat_bruteforce.csv

Angles at which the outlines come nearer than 0.05 mm (touching or crossing vanes) are left out."""
import numpy as np


def outline(at, vane, n, height, chord, thickness, pivot_radius, pivot_fraction, angle_deg):
    """Points of one vane's outline at the arc lengths `at` (mm): flank, half circle, flank, half circle."""
    where = 2 * np.pi * vane / n
    angle = np.radians(angle_deg)
    radial = np.array([np.cos(where), np.sin(where)])
    tangent = np.array([-np.sin(where), np.cos(where)])
    along = np.cos(angle) * tangent - np.sin(angle) * radial
    across = np.array([-along[1], along[0]])
    r = thickness / 2
    lead = pivot_radius * radial - (pivot_fraction * chord - r) * along
    trail = pivot_radius * radial + ((1 - pivot_fraction) * chord - r) * along
    flank, round_ = chord - thickness, np.pi * r
    s = np.mod(at, 2 * (flank + round_))[:, None]
    turn = lambda d: d / r if r > 0 else 0 * d
    return np.select(
        [s < flank, s < flank + round_, s < 2 * flank + round_],
        [lead + s * along + r * across,
         trail + r * (np.cos(turn(s - flank)) * across + np.sin(turn(s - flank)) * along),
         trail - (s - flank - round_) * along - r * across],
        lead - r * (np.cos(turn(s - 2 * flank - round_)) * across
                    + np.sin(turn(s - 2 * flank - round_)) * along))


def nearest(ring, angle):
    length = 2 * (ring[2] - ring[3]) + np.pi * ring[3]
    best = np.inf
    for neighbour in (1, ring[0] - 1):
        a = b = np.linspace(0, length, 1200)
        for _ in range(9):
            p, q = outline(a, 0, *ring, angle), outline(b, neighbour, *ring, angle)
            d = np.hypot(*(p[:, None, k] - q[None, :, k] for k in (0, 1)))
            i, j = np.unravel_index(d.argmin(), d.shape)
            best = min(best, d[i, j])
            step = a[1] - a[0]
            a, b = (np.linspace(x - 2 * step, x + 2 * step, 41) for x in (a[i], b[j]))
    return best


RINGS = {  # vanes, height, chord, thickness, pivot radius, pivot fraction
    "thin": (11, 6.0, 14.0, 0.0, 28.0, 0.45),
    "plate": (11, 6.0, 14.0, 1.2, 28.0, 0.45),
    "thick": (13, 9.4, 15.0, 2.4, 34.0, 0.50),
    "few": (9, 7.0, 16.0, 1.6, 27.0, 0.40),
}
if __name__ == "__main__":
    print("ring,vanes,height_mm,chord_mm,thickness_mm,pivot_radius_mm,pivot_fraction,angle_deg,throat_mm")
    for name, ring in RINGS.items():
        for angle in range(0, 91, 3):
            near = nearest(ring, angle)
            if near > 0.05:
                print(name, *ring, angle, f"{near:.7f}", sep=",")
