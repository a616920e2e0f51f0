"""What the measurer learns about hot pixels from frame to frame: clumps, never the stars of a moved frame."""

from __future__ import annotations

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.detection.hot_pixels import HotPixelMask
from polewright.core.model import FloatArray, Frame, PlateSolution, Sourced, StarList
from polewright.services.measuring import FrameMeasurer
from sky_solver import shared_catalogue, shared_solver
from solver_fields import FieldRecipe, make_field, star_list

WIDTH, HEIGHT = 1280, 960
CLUMP = np.array([[400.2, 300.1]])


class ListedStars:
    """A detector that reports the next of some lists and keeps the masks it is given."""

    def __init__(self, lists: list[StarList]) -> None:
        self.lists = lists
        self.masks: list[HotPixelMask | None] = []

    def detect(self, frame: Frame, hot_pixels: HotPixelMask | None = None) -> StarList:
        self.masks.append(hot_pixels)
        return self.lists[len(self.masks) - 1]


def listed(*groups: FloatArray) -> StarList:
    places = np.concatenate(groups)
    inside = ((places > 5.0) & (places < [WIDTH - 6.0, HEIGHT - 6.0])).all(axis=1)
    return star_list(places[inside, 0], places[inside, 1], 0.1, WIDTH, HEIGHT)


def test_stars_at_their_old_places_are_not_hot_but_a_clump_is() -> None:
    recipe = FieldRecipe(2.5, spurious=0, missing=0.0, noise_px=0.05, limit_stars=40)
    field = make_field(shared_catalogue(), recipe, np.random.default_rng(21))
    assert field is not None
    stars = np.stack([field.stars.x_px, field.stars.y_px], axis=1)
    one, two, three = stars, stars + np.array([90.0, 40.0]), stars + np.array([20.0, -70.0])
    # the second and the fourth frame were exposed while the mount moved
    lists = [listed(one, CLUMP), listed(two, one, CLUMP), listed(two, CLUMP), listed(three, two, CLUMP), listed(one)]
    detector = ListedStars(lists)
    measurer = FrameMeasurer(detector, shared_solver(False), lambda: 0.0)
    for number in range(len(lists)):
        pixels = np.broadcast_to(np.zeros(1, dtype=np.uint16), (HEIGHT, WIDTH))
        scale = Sourced(ARCSEC_PER_RAD / field.camera.focal_px, "test")
        got = measurer.place(Frame(f"frame {number}", pixels, None, scale_arcsec_px=scale))
        assert isinstance(got.outcome, PlateSolution)
    learned = detector.masks[-1]
    assert learned is not None and learned.hot[300, 400] and len(learned) == 9
