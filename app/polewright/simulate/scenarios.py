"""Nights to practise on, all invented: places, mounts and mishaps. What a seed may vary is given as a range."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from polewright.core.model import Site
from polewright.simulate.camera import CameraSpec
from polewright.simulate.real_mount import PERFECT_RANGES, Range, RealRanges
from polewright.simulate.render import SkyGlow
from polewright.simulate.stars import StarFlaws


@dataclass(frozen=True)
class Blocked:
    """A wall, house or wood: between two azimuths (clockwise from the first) nothing is seen below the altitude."""

    from_azimuth_deg: float
    to_azimuth_deg: float
    below_altitude_deg: float


@dataclass(frozen=True)
class Clouds:
    """Clouds that come and go: `cover` is the share of time under cloud, `depth_mag` the loss at their middle."""

    cover: float
    depth_mag: float
    period_s: float


@dataclass(frozen=True)
class MountRanges:
    """From what range a mount's qualities are drawn; signs of the screws are drawn as well where `either_way`."""

    azimuth_arcmin_per_turn: Range = (35.0, 110.0)
    altitude_arcmin_per_turn: Range = (25.0, 90.0)
    either_way: bool = True
    azimuth_backlash_turns: Range = (0.05, 0.25)
    altitude_backlash_turns: Range = (0.02, 0.12)
    altitude_change_per_degree: Range = (-0.015, 0.015)
    settle_share: Range = (0.01, 0.05)
    settle_s: Range = (1.5, 4.0)
    lock_shift_arcmin: Range = (-0.6, 0.6)
    lean_deg: Range = (0.0, 0.6)
    ra_backlash_arcsec: Range = (10.0, 60.0)
    periodic_error_arcsec: Range = (4.0, 20.0)
    cone_arcmin: Range = (-12.0, 12.0)
    axes_not_square_arcmin: Range = (-4.0, 4.0)
    # common practice has 5 to 20 for guide scopes, no source; either end may hang more, lens or camera, and the tube
    # tilts by the difference (the slope of a beam held in its middle); drawn as real_mount.usual_within does
    sag_arcsec: Range = (-20.0, 20.0)
    tripod_sinks_arcmin: Range = (0.0, 0.15)
    declination_slip_arcmin: Range = (0.0, 0.0)


@dataclass(frozen=True)
class Scenario:
    """One kind of night. `start` is UTC in ISO 8601; `off_deg` is how far the axis may be off in each direction."""

    name: str
    place: str
    story: str
    site: Site
    start: str
    camera: CameraSpec = field(default_factory=CameraSpec)
    mount: MountRanges = field(default_factory=MountRanges)
    real: RealRanges = field(default_factory=RealRanges)
    stars: StarFlaws = field(default_factory=StarFlaws)
    off_azimuth_deg: Range = (-3.0, 3.0)
    off_altitude_deg: Range = (-2.0, 2.0)
    hour_angle_h: float = -1.5
    declination_toward_pole_deg: float = 45.0
    temperature_c: float = 8.0
    humidity: float = 0.6
    pressure_anomaly_hpa: float = 0.0
    seeing_arcsec: float = 2.5
    sky_mag: float = 20.6
    glow: SkyGlow = field(default_factory=SkyGlow)
    blur_px: float = 1.2
    defocus_px: float = 0.0
    dew_mag_per_hour: float = 0.0
    extinction_mag: float = 0.2
    wind_arcsec: float = 0.1
    clouds: Clouds | None = None
    kick_after_s: Range | None = None
    kick_arcmin: Range = (4.0, 9.0)
    clock_error_s: float = 0.0
    blocked: tuple[Blocked, ...] = ()
    satellites_per_frame: float = 0.03
    site_in_header: bool = True
    pointing_in_header: bool = False


def perfect(scenario: Scenario) -> Scenario:
    """The same night with a mount of pure geometry on firm ground, in the usual air of the place."""
    mount = replace(scenario.mount, sag_arcsec=(0.0, 0.0), tripod_sinks_arcmin=(0.0, 0.0))
    return replace(scenario, mount=mount, real=PERFECT_RANGES)


# A decent mount, set down with care on firm ground, on a still night: half of the usual and less; chosen.
_CARE = RealRanges(
    pull_arcsec_rad=(-7.0, 7.0),
    flop_share=0.0,
    wobble_arcsec=(0.0, 1.0),
    creep_arcsec_min=(0.0, 0.1),
    wander_arcsec=(0.05, 0.3),
    gust_arcsec=(0.0, 0.0),
)

# The places are invented, and so that they are nobody's, all lie at sea.
_HEATH = Site(52.3, 3.0, 84.0)
_TARN = Site(44.8, -6.4, 1460.0)
_STATION = Site(-30.9, 156.0, 640.0)
_SCREE = Site(36.7, -10.0, 1890.0)
_KILN = Site(41.2, -68.0, 310.0)

SCENARIOS: Mapping[str, Scenario] = {
    s.name: s
    for s in (
        Scenario(
            name="calm",
            place="Larkmoor",
            story="A clear, still night, a decent mount already set down with care.",
            site=_HEATH,
            start="2026-11-12T19:57:00",
            off_azimuth_deg=(-1.0, 1.0),
            off_altitude_deg=(-0.7, 0.7),
            mount=MountRanges(sag_arcsec=(-8.0, 8.0), tripod_sinks_arcmin=(0.0, 0.03)),
            real=_CARE,
        ),
        Scenario(
            name="first-night",
            place="Larkmoor",
            story="A mount never used before: nobody knows what a turn of its screws does, or which way.",
            site=_HEATH,
            start="2026-10-09T20:12:00",
            mount=MountRanges(azimuth_backlash_turns=(0.1, 0.35), altitude_arcmin_per_turn=(20.0, 120.0)),
            off_azimuth_deg=(-5.0, 5.0),
            off_altitude_deg=(-2.5, 2.5),
        ),
        Scenario(
            name="no-pole-view",
            place="Tallgate Yard",
            story="A courtyard: a house hides everything to the north up to 60 degrees.",
            site=Site(48.1, -7.5, 530.0),
            start="2026-12-04T19:35:00",
            blocked=(Blocked(285.0, 75.0, 60.0), Blocked(75.0, 285.0, 15.0)),
            hour_angle_h=-1.5,
            declination_toward_pole_deg=15.0,
            sky_mag=19.2,
            glow=SkyGlow(slope_down=0.5),
        ),
        Scenario(
            name="southern-sky",
            place="Redgum Flat",
            story="South of the equator, where the stars turn the other way and no bright star marks the pole.",
            site=_STATION,
            start="2026-09-14T10:43:00",
            temperature_c=14.0,
            sky_mag=21.6,
            glow=SkyGlow(patch=0.8, patch_x=0.7, patch_y=0.3, patch_radius=0.5),
        ),
        Scenario(
            name="windy",
            place="Gannet Head",
            story="Gusts shake the mount; the seeing is poor.",
            site=Site(57.7, -10.5, 35.0),
            start="2027-02-06T20:43:00",
            wind_arcsec=2.5,
            real=RealRanges(gust_arcsec=(2.0, 5.0), gusts_a_minute=(1.0, 2.5)),
            seeing_arcsec=4.5,
            blur_px=1.6,
            temperature_c=3.0,
            pressure_anomaly_hpa=-22.0,
        ),
        Scenario(
            name="passing-clouds",
            place="Larkmoor",
            story="Banks of cloud drift over; between them the sky is good.",
            site=_HEATH,
            start="2027-03-18T21:17:00",
            clouds=Clouds(cover=0.3, depth_mag=4.0, period_s=240.0),
            humidity=0.9,
        ),
        Scenario(
            name="kicked-tripod",
            place="Hollow Tarn",
            story="In the dark somebody walks into a tripod leg.",
            site=_TARN,
            start="2026-08-15T22:31:00",
            temperature_c=5.0,
            kick_after_s=(240.0, 600.0),
        ),
        Scenario(
            name="wrong-clock",
            place="Hollow Tarn",
            story="The laptop's clock is two minutes slow.",
            site=_TARN,
            start="2026-09-05T21:21:00",
            clock_error_s=-127.0,
            temperature_c=2.0,
        ),
        Scenario(
            name="out-of-level",
            place="Scree Camp",
            story="The tripod stands on a slope, three degrees out of level: each screw moves both directions.",
            site=_SCREE,
            start="2026-07-18T22:43:00",
            mount=MountRanges(lean_deg=(2.4, 3.0)),
            temperature_c=12.0,
            off_azimuth_deg=(-2.0, 2.0),
        ),
        Scenario(
            name="mirrored-optics",
            place="Kiln Field",
            story="A star diagonal sits before the camera: every picture is a mirror image. The telescope is long.",
            site=_KILN,
            start="2026-11-19T23:45:00",
            camera=CameraSpec(
                name="Lantern Two",
                width_px=2000,
                height_px=1100,
                pixel_um=3.0,
                focal_length_mm=402.0,
                stated_focal_length_mm=400.0,
                aperture_mm=80.0,
                mirrored=True,
                number=2,
            ),
            blur_px=1.5,
        ),
        Scenario(
            name="loose-clutch",
            place="Kiln Field",
            story="The declination clutch is not tight: it slips by some minutes of arc when the RA axis is turned.",
            site=_KILN,
            start="2026-12-11T22:55:00",
            mount=MountRanges(declination_slip_arcmin=(1.0, 4.0)),
        ),
        Scenario(
            name="wide-lens",
            place="Scree Camp",
            story="A camera lens instead of a guide scope: a wide field with the lens's distortion.",
            site=_SCREE,
            start="2026-06-30T22:28:00",
            camera=CameraSpec(
                name="Lantern Three",
                width_px=1600,
                height_px=1200,
                pixel_um=4.5,
                focal_length_mm=25.2,
                stated_focal_length_mm=25.0,
                aperture_mm=17.5,
                barrel1=-0.11,
                barrel2=0.03,
                axis_offset_px=(6.5, -4.0),
                vignetting=0.35,
                full_well_e=30000.0,
                electrons_per_adu=7.4,
                number=3,
            ),
            blur_px=1.6,
        ),
    )
}
