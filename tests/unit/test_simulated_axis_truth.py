"""The axis that the truth names is the one that ERFA and plain geometry find from the simulated star positions.

Star places come from the CIO-based routines of ERFA (apco13, atciqz, atioq), the attitude from the SVD solution of
Wahba's problem, the axis from the rotation between two attitudes (Euler): none of it is the simulator's own.
"""

from __future__ import annotations

from dataclasses import replace

import erfa
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from polewright.core.angles import ARCSEC_PER_RAD, separation_rad
from polewright.core.model import FloatArray
from polewright.services.catalogue import load_catalogue
from polewright.simulate.mount import offset_from
from polewright.simulate.night import scenario_named
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import MountRanges, Scenario
from polewright.simulate.stars import StarFlaws
from polewright.simulate.view import View

STIFF = MountRanges(sag_arcsec=(0.0, 0.0), tripod_sinks_arcmin=(0.0, 0.0), periodic_error_arcsec=(0.0, 0.0))
EXACT = StarFlaws(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@pytest.mark.parametrize("name", ["calm", "southern-sky", "out-of-level", "mirrored-optics", "no-pole-view"])
@pytest.mark.parametrize("tracking", [True, False])
def test_the_true_axis_is_found_again_by_other_means(name: str, tracking: bool) -> None:
    scenario = replace(scenario_named(f"perfect-{name}"), mount=STIFF, stars=EXACT)
    rig = SimulatedRig(scenario, 5, load_catalogue())
    side = -1.0 if rig.night.southern else 1.0
    now = rig.point(-2.5, side * scenario.declination_toward_pole_deg, rig.night.start)
    rig.set_tracking(tracking, now)
    attitudes = []
    for _ in range(2):
        view = rig.view(now.plus_seconds(40.0), 1.0)
        attitudes.append(_attitude(view, rig, scenario))
        now = rig.rotate_ra(75.0, now.plus_seconds(60.0))
    vector = Rotation.from_matrix(attitudes[1] @ attitudes[0].T).as_rotvec()
    axis = vector / np.linalg.norm(vector) * np.sign(vector[2])
    truth = rig.axis(now)
    assert separation_rad(axis, truth.axis_enu) * ARCSEC_PER_RAD < 1.0
    east, up = np.degrees(offset_from(view.sky.pole_refracted, axis)) * 60.0
    assert east == pytest.approx(truth.from_refracted_pole_arcmin[0], abs=0.02)
    assert up == pytest.approx(truth.from_refracted_pole_arcmin[1], abs=0.02)


def _attitude(view: View, rig: SimulatedRig, scenario: Scenario) -> FloatArray:
    """Camera to observed ENU from the pixels of the view."""
    camera = scenario.camera
    mid = view.x_px.shape[0] // 2
    x = (view.x_px[mid] - (camera.width_px - 1) / 2.0) / camera.focal_px * (-1.0 if camera.mirrored else 1.0)
    y = (view.y_px[mid] - (camera.height_px - 1) / 2.0) / camera.focal_px
    camera_vectors = np.stack([x, y, np.ones_like(x)], axis=-1)
    camera_vectors /= np.linalg.norm(camera_vectors, axis=1)[:, None]
    inside = np.flatnonzero(np.hypot(x, y) < 0.03)
    offset_s = (mid + 0.5) / view.x_px.shape[0] * view.exposure_s - 0.5 * view.exposure_s
    enu = _erfa_enu(view, rig, offset_s)
    return np.asarray(Rotation.align_vectors(enu[inside], camera_vectors[inside])[0].as_matrix())


def _erfa_enu(view: View, rig: SimulatedRig, offset_s: float) -> FloatArray:
    site, air, earth = rig.night.scenario.site, rig.night.air, rig.night.earth
    when = view.utc_mid.plus_seconds(offset_s)
    context, _ = erfa.apco13(
        when.jd1,
        when.jd2,
        earth.dut1_s,
        np.radians(site.lon_deg),
        np.radians(site.lat_deg),
        site.elev_m,
        earth.xp_arcsec / ARCSEC_PER_RAD,
        earth.yp_arcsec / ARCSEC_PER_RAD,
        air.pressure_hpa,
        air.temperature_c,
        air.relative_humidity,
        air.wavelength_um,
    )
    v = view.stars.icrs
    az, zd, *_ = erfa.atioq(*erfa.atciqz(np.arctan2(v[:, 1], v[:, 0]), np.arcsin(v[:, 2]), context), context)
    return np.stack([np.sin(zd) * np.sin(az), np.sin(zd) * np.cos(az), np.cos(zd)], axis=-1)
