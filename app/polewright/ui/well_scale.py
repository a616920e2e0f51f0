"""The radial scale of the well: one picture from ten degrees to a few arcseconds. Pure, no Qt.

r = asinh(angle / a0) / asinh(rim / a0), with a0 chosen so that the tolerance always lies at the same fraction of
the radius: near the centre the scale is linear (a steady hand moves the marker steadily), outside logarithmic.

Decided 2026-11-25. A picture with automatic zoom was drawn with the same nights: it threw the trail and the rings
away at every step, and the same hand movement moved the marker by different amounts from one reading to the next.
The asinh scale keeps one map all night.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import asinh, atan2, cos, hypot, isfinite, log, sin, sinh

RIM_ARCMIN = 600.0
FLOOR_FRACTION = 0.17
RING_STEPS_ARCSEC = (1, 3, 10, 30, 60, 180, 600, 1800, 3600, 10800, 36000)


@dataclass(frozen=True)
class WellScale:
    """Maps angles to fractions of the well's radius and back. `a0_arcmin` is where linear turns logarithmic."""

    a0_arcmin: float
    rim_arcmin: float = RIM_ARCMIN

    def fraction(self, angle_arcmin: float) -> float:
        """Distance from the centre, 0..1 up to the rim; more than 1 beyond it."""
        return asinh(angle_arcmin / self.a0_arcmin) / asinh(self.rim_arcmin / self.a0_arcmin)

    def angle_arcmin(self, fraction: float) -> float:
        """The angle at that distance from the centre."""
        return self.a0_arcmin * sinh(fraction * asinh(self.rim_arcmin / self.a0_arcmin))

    def place(self, east_arcmin: float, up_arcmin: float) -> tuple[float, float]:
        """(toward east, toward up) as fractions of the radius, held inside the rim."""
        angle = hypot(east_arcmin, up_arcmin)
        if angle == 0.0 or not isfinite(angle):
            return 0.0, 0.0
        r = min(1.0, self.fraction(angle)) / angle
        return east_arcmin * r, up_arcmin * r

    def beyond(self, east_arcmin: float, up_arcmin: float) -> bool:
        """Whether the place lies outside the rim."""
        return hypot(east_arcmin, up_arcmin) > self.rim_arcmin

    def rings(self, closest: float = 0.09) -> tuple[tuple[float, str], ...]:
        """(fraction, label) of the rings outside the floor, at least `closest` apart, rim included."""
        found: list[tuple[float, str]] = []
        last = 1.0 + closest
        for arcsec in reversed(RING_STEPS_ARCSEC):
            f = self.fraction(arcsec / 60.0)
            if f <= 1.0 + 1e-9 and last - f >= closest - 1e-9 and f > FLOOR_FRACTION + closest:
                found.append((f, ring_label(arcsec)))
                last = f
        return tuple(reversed(found))


def scale_for(tolerance_arcmin: float, rim_arcmin: float = RIM_ARCMIN) -> WellScale:
    """The scale whose floor has its constant size for that tolerance (0.01' to a quarter of the rim)."""
    tolerance = min(max(tolerance_arcmin, 0.01), rim_arcmin / 4.0)
    low, high = log(1e-6), log(1e6)  # of tolerance / a0; the floor grows with it

    def too_small(x: float) -> bool:
        ratio = 2.718281828459045**x
        return asinh(ratio) < FLOOR_FRACTION * asinh(ratio * rim_arcmin / tolerance)

    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if too_small(middle) else (low, middle)
    return WellScale(tolerance / 2.718281828459045**high, rim_arcmin)


def ring_label(arcsec: int) -> str:
    """Degrees, arcminutes or arcseconds, whichever is whole."""
    if arcsec >= 3600:
        return f"{arcsec // 3600}°"
    return f"{arcsec // 60}′" if arcsec >= 60 else f"{arcsec}″"


def ellipse_outline(
    scale: WellScale,
    east_arcmin: float,
    up_arcmin: float,
    covariance_arcmin2: tuple[tuple[float, float], tuple[float, float]],
    k: float = 2.4477,
    points: int = 48,
) -> list[tuple[float, float]]:
    """The 95 % ellipse (k sigma in two dimensions) as fractions of the radius, each point mapped by the scale."""
    (ee, eu), (_, uu) = covariance_arcmin2
    half = 0.5 * (ee + uu)
    spread = hypot(0.5 * (ee - uu), eu)
    major, minor = max(half + spread, 0.0) ** 0.5, max(half - spread, 0.0) ** 0.5
    turn = 0.5 * atan2(2.0 * eu, ee - uu)
    outline = []
    for i in range(points):
        t = 6.283185307179586 * i / points
        a, b = k * major * cos(t), k * minor * sin(t)
        outline.append(
            scale.place(east_arcmin + a * cos(turn) - b * sin(turn), up_arcmin + a * sin(turn) + b * cos(turn))
        )
    return outline
