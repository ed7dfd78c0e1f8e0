"""Moment of the gas on a ring of stadium-shaped vanes, from the pressure on every piece of their outlines.
Made with Python 3.11, numpy 2.4.6. Invented dimensions.

    python3 gas_moment.py > gas_moment.csv

Assumed: one unit of pressure on the stretch of a vane's outline that holds its leading tip, from the point
nearest to one neighbour to the point nearest to the other (the two throats), and none on the rest. Each piece
of outline pushes along its inward normal; the moments about the pivot are added up, counter-clockwise first,
which is the way in which the angle from the tangent grows. Times vanes and height, in mm3.
Angles at which the outlines come nearer than 0.05 mm are left out, and thin vanes: their two sides lie in the
same place, so that the nearest point does not tell the side."""
import numpy as np

from throat_bruteforce import RINGS, outline


def nearest(ring, angle, neighbour):
    """Arc length on vane 0's outline where `neighbour` is nearest, and that distance."""
    length = 2 * (ring[2] - ring[3]) + np.pi * ring[3]
    a = b = np.linspace(0, length, 1200)
    for _ in range(9):
        p, q = outline(a, 0, *ring, angle), outline(b, neighbour, *ring, angle)
        d = np.hypot(*(p[:, None, k] - q[None, :, k] for k in (0, 1)))
        i, j = np.unravel_index(d.argmin(), d.shape)
        at, best, step = a[i], d[i, j], a[1] - a[0]
        a, b = (np.linspace(x - 2 * step, x + 2 * step, 41) for x in (a[i], b[j]))
    return np.mod(at, length), best


def moment(ring, angle):
    vanes, height, chord, thickness, pivot_radius, _ = ring
    length = 2 * (chord - thickness) + np.pi * thickness
    leading_tip = length - np.pi * thickness / 4  # the middle of the last half circle
    (one, near), (other, _) = nearest(ring, angle, 1), nearest(ring, angle, vanes - 1)
    start, end = min(one, other), max(one, other)
    if not start <= leading_tip <= end:
        start, end = end, start + length
    corners = outline(np.linspace(start, end, 400_001), 0, *ring, angle)
    middle, piece = (corners[1:] + corners[:-1]) / 2, np.diff(corners, axis=0)
    inward = np.column_stack([piece[:, 1], -piece[:, 0]])  # the outline runs clockwise: its right is inside
    arm = middle - np.array([pivot_radius, 0.0])
    return vanes * height * np.sum(arm[:, 0] * inward[:, 1] - arm[:, 1] * inward[:, 0]), near


if __name__ == "__main__":
    print("ring,vanes,height_mm,chord_mm,thickness_mm,pivot_radius_mm,pivot_fraction,angle_deg,moment_mm3")
    for name, ring in RINGS.items():
        if ring[3] == 0:
            continue
        for angle in range(6, 67, 6):
            value, near = moment(ring, angle)
            if near > 0.05:
                print(name, *ring, angle, f"{value:.5f}", sep=",")
