"""Cells of the sky: no gap, no overlap, no singular place."""

from __future__ import annotations

import numpy as np
import pytest

from polewright.core.angles import separation_rad
from polewright.core.sky.cells import (
    BLOCK_RADIUS_RAD,
    CELL_COUNT,
    CELL_RADIUS_RAD,
    CELLS_PER_FACE,
    EDGES,
    FACE_TO_ICRS,
    blocks_of_cells,
    cell_centres,
    cell_of,
    directions_in_cells,
    face_directions,
)

AXES = np.vstack([np.eye(3), -np.eye(3)])


def random_directions(count: int) -> np.ndarray:
    v = np.random.default_rng(7).normal(size=(count, 3))
    return v / np.linalg.norm(v, axis=1, keepdims=True)


def test_the_faces_are_right_handed_and_look_six_ways() -> None:
    assert np.allclose([np.linalg.det(face) for face in FACE_TO_ICRS], 1.0)
    assert {tuple(normal) for normal in FACE_TO_ICRS[:, :, 0]} == {tuple(axis) for axis in AXES}


def test_every_cell_contains_its_own_centre() -> None:
    number, fraction = cell_of(cell_centres())
    assert np.array_equal(number, np.arange(CELL_COUNT))
    assert np.allclose(fraction, 0.5, atol=1e-9)


def test_a_direction_comes_back_from_its_cell_and_place() -> None:
    v = np.vstack([random_directions(5000), AXES])
    number, fraction = cell_of(v)
    assert fraction.min() >= 0.0 and fraction.max() < 1.0
    for direction, cell, place in zip(v, number, fraction):
        back = directions_in_cells(int(cell), np.array([1]), place[:, None])
        assert separation_rad(back[0], direction) < 1e-12


def test_a_run_of_cells_gives_each_star_its_own_cell() -> None:
    counts = np.array([2, 0, 1, 3])
    back = directions_in_cells(CELLS_PER_FACE + 88, counts, np.full((2, 6), 0.5))
    assert np.array_equal(cell_of(back)[0], CELLS_PER_FACE + 88 + np.repeat(np.arange(4), counts))


def test_the_stated_radius_reaches_every_corner_and_is_not_wasteful() -> None:
    centres = cell_centres()[:CELLS_PER_FACE].reshape(90, 90, 3)
    corners = face_directions(0, np.tile(EDGES, 91), np.repeat(EDGES, 91)).reshape(91, 91, 3)
    farthest = max(separation_rad(corners[i : i + 90, j : j + 90], centres).max() for i in (0, 1) for j in (0, 1))
    assert farthest <= CELL_RADIUS_RAD < 1.02 * farthest


@pytest.mark.parametrize("pole", [1.0, -1.0])
def test_the_celestial_pole_is_an_ordinary_place(pole: float) -> None:
    number, _ = cell_of(np.array([[1e-9, 1e-9, pole], [-1e-9, 1e-9, pole], [1e-9, -1e-9, pole]]))
    centres = cell_centres()[number]
    assert (separation_rad(centres, np.array([0.0, 0.0, pole])) < CELL_RADIUS_RAD).all()


def test_blocks_hold_every_cell_once_within_their_radius() -> None:
    middles, cells = blocks_of_cells()
    assert sorted(cells.ravel().tolist()) == list(range(CELL_COUNT))
    cosine = np.einsum("bci,bi->bc", cell_centres()[cells], middles)
    assert cosine.min() > np.cos(BLOCK_RADIUS_RAD)
