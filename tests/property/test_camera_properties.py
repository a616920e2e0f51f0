"""Pixel -> vector -> pixel closes; a mirrored camera is the same camera with x turned round."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from polewright.core.camera import pixel_to_vector, vector_to_pixel
from polewright.core.model import Camera

cameras = st.builds(
    Camera,
    width_px=st.integers(64, 8000),
    height_px=st.integers(64, 6000),
    focal_px=st.floats(6000.0, 2e6),
    mirrored=st.booleans(),
    k1=st.floats(-0.2, 0.2),
    k2=st.floats(-0.05, 0.05),
)


@given(camera=cameras, fx=st.floats(0.0, 1.0), fy=st.floats(0.0, 1.0))
def test_pixel_to_vector_and_back(camera: Camera, fx: float, fy: float) -> None:
    x, y = np.array([fx * (camera.width_px - 1)]), np.array([fy * (camera.height_px - 1)])
    v = pixel_to_vector(camera, x, y)
    assert abs(np.linalg.norm(v) - 1.0) < 1e-12
    back = vector_to_pixel(camera, v)
    assert abs(back[0][0] - x[0]) < 1e-6 and abs(back[1][0] - y[0]) < 1e-6


@given(camera=cameras, fx=st.floats(0.0, 1.0), fy=st.floats(0.0, 1.0))
def test_mirroring_negates_camera_x(camera: Camera, fx: float, fy: float) -> None:
    other = Camera(camera.width_px, camera.height_px, camera.focal_px, not camera.mirrored, camera.k1, camera.k2)
    x, y = np.array([fx * (camera.width_px - 1)]), np.array([fy * (camera.height_px - 1)])
    assert np.allclose(pixel_to_vector(camera, x, y) * [-1.0, 1.0, 1.0], pixel_to_vector(other, x, y), atol=1e-15)


def test_vectors_behind_the_camera_have_no_pixel() -> None:
    x, y = vector_to_pixel(Camera(100, 100, 500.0), np.array([[0.0, 0.0, -1.0], [1.0, 0.0, 0.0]]))
    assert np.all(np.isnan(x)) and np.all(np.isnan(y))
