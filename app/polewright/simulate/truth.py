"""The truth behind simulated frames as plain values, ready for JSON."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np

from polewright.simulate.night import iso_of
from polewright.simulate.real_mount import RealMount
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.view import AxisTruth, View

Plain = dict[str, Any]
_STARS_LISTED = 300  # the brightest of a frame; more make the file large and tell nothing


def truth_of_night(rig: SimulatedRig) -> Plain:
    """What holds for all frames: place, air, camera, mount."""
    night, camera = rig.night, rig.night.scenario.camera
    return {
        "scenario": night.scenario.name,
        "place": night.scenario.place,
        "seed": night.seed,
        "site": {
            "lat_deg": night.scenario.site.lat_deg,
            "lon_deg": night.scenario.site.lon_deg,
            "elev_m": night.scenario.site.elev_m,
        },
        "air": {"pressure_hpa": night.air.pressure_hpa, "temperature_c": night.air.temperature_c},
        "earth": {"ut1_minus_utc_s": night.earth.dut1_s},
        "clock_error_s": night.scenario.clock_error_s,
        "camera": {
            "focal_length_mm": camera.focal_length_mm,
            "pixel_um": camera.pixel_um,
            "scale_arcsec_px": camera.scale_arcsec_px,
            "mirrored": camera.mirrored,
        },
        "screws": {
            "azimuth_arcmin_per_turn": night.mount.azimuth.arcmin_per_turn,
            "azimuth_backlash_turns": night.mount.azimuth.backlash_turns,
            "altitude_arcmin_per_turn": night.mount.altitude.arcmin_per_turn,
            "altitude_backlash_turns": night.mount.altitude.backlash_turns,
        },
        "real_mount": {"sag_arcsec": night.mount.sag_arcsec, **_real(night.mount.real)},
        "lean_deg": {"east": night.mount.lean_east_deg, "north": night.mount.lean_north_deg},
    }


def _real(real: RealMount) -> Plain:
    return {f.name: getattr(real, f.name) for f in fields(real) if f.init and f.name != "seed"}


def truth_of_frame(rig: SimulatedRig, file_name: str, stage: str, view: View) -> Plain:
    """One frame: time, pointing, axis and its brightest stars. Pixels (x, y) count from (0, 0) in stored rows."""
    return {
        "file": file_name,
        "stage": stage,
        "utc_start": iso_of(view.utc_start),
        "utc_mid": iso_of(view.utc_mid),
        "exposure_s": view.exposure_s,
        "ra_deg": view.centre.ra_deg,
        "dec_deg": view.centre.dec_deg,
        "attitude_optical_axis_to_observed_enu": view.attitude_enu.tolist(),
        "axis": truth_of_axis(view.axis),
        "tracking": view.tracking,
        "cloud_mag": view.cloud_mag,
        "view_blocked": view.blocked,
        "stars": _stars(rig, view),
    }


def truth_of_axis(axis: AxisTruth) -> Plain:
    """Direction of the axis and its offset from either pole, east and up on the sky."""
    return {
        "enu": axis.axis_enu.tolist(),
        "from_true_pole": _offset(axis.from_true_pole_arcmin),
        "from_refracted_pole": _offset(axis.from_refracted_pole_arcmin),
    }


def _offset(east_up: tuple[float, float]) -> Plain:
    return {
        "east_arcmin": east_up[0],
        "up_arcmin": east_up[1],
        "total_arcmin": float(np.hypot(*east_up)),
    }


def _stars(rig: SimulatedRig, view: View) -> list[Plain]:
    camera = rig.night.scenario.camera
    x, y = view.x_px.mean(axis=0), view.y_px.mean(axis=0)
    inside = np.flatnonzero(
        (view.electrons > 0.0) & (x > 0) & (x < camera.width_px - 1) & (y > 0) & (y < camera.height_px - 1)
    )
    inside = inside[np.argsort(view.stars.magnitude[inside], kind="stable")][:_STARS_LISTED]
    v = view.stars.icrs
    ra = np.degrees(np.arctan2(v[:, 1], v[:, 0])) % 360.0
    dec = np.degrees(np.arctan2(v[:, 2], np.hypot(v[:, 0], v[:, 1])))
    return [
        {
            "x_px": round(float(x[i]), 4),
            "y_px": round(float(y[i]), 4),
            "ra_deg": round(float(ra[i]), 7),
            "dec_deg": round(float(dec[i]), 7),
            "magnitude": round(float(view.stars.magnitude[i]), 2),
            "electrons": round(float(view.electrons[i]), 1),
            "catalogue_index": int(view.stars.index[i]),
        }
        for i in inside
    ]
