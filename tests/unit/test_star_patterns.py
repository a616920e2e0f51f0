"""Codes of star quads: what must not change them, and that the index gives back what was put in."""

from __future__ import annotations

import numpy as np
import pytest

from polewright.core.angles import rotation_about
from polewright.core.matching.codes import ORDER, pair_chords, quad_codes, with_close_calls
from polewright.core.matching.layers import cell_numbers
from polewright.core.matching.pattern_index import build_layer, look_up, repeated_quads, triples_of
from polewright.core.matching.star_quads import all_threes, neighbour_quads


def some_quads(seed: int, count: int, size: float = 0.05) -> np.ndarray:
    rng = np.random.default_rng(seed)
    v = np.array([0.0, 0.6, 0.8]) + rng.normal(size=(count, 4, 3)) * size
    return v / np.linalg.norm(v, axis=2, keepdims=True)


def nearest(position: np.ndarray, count: int = 5) -> np.ndarray:
    chord = np.linalg.norm(position[:, None] - position, axis=2)
    np.fill_diagonal(chord, np.inf)
    return np.argsort(chord, axis=1)[:, :count].astype(np.int32)


def test_codes_do_not_change_with_rotation_mirroring_or_naming() -> None:
    v = some_quads(1, 500)
    code = quad_codes(pair_chords(v)).code
    turned = v @ rotation_about(np.array([0.6, 0.0, 0.8]), 2.1).T
    mirrored = v * [-1.0, 1.0, 1.0]
    renamed = v[:, [2, 0, 3, 1]]
    for other in (turned, mirrored, renamed):
        np.testing.assert_allclose(quad_codes(pair_chords(other)).code, code, atol=1e-12)


def test_code_numbers_are_the_distance_ratios_in_canonical_order() -> None:
    v = some_quads(2, 200)
    codes = quad_codes(pair_chords(v))
    named = np.take_along_axis(v, ORDER[codes.arrangement][:, :, None], axis=1)
    a, b, c, d = (named[:, k] for k in range(4))

    def far(p: np.ndarray, q: np.ndarray) -> np.ndarray:
        return np.linalg.norm(p - q, axis=1)

    expected = np.stack([far(a, c), far(b, c), far(a, d), far(b, d), far(c, d)]) / far(a, b)
    np.testing.assert_allclose(codes.code, expected, atol=1e-12)
    assert (expected <= 1.0 + 1e-12).all()
    assert (expected[0] <= expected[2]).all()
    assert (expected[0] + expected[2] <= expected[1] + expected[3] + 1e-12).all()


def test_close_calls_offer_the_other_naming() -> None:
    # AC = AD exactly and AC + AD = BC + BD exactly: a square with its diagonals as long as each other
    square = np.array([[[0.01, 0.01, 1], [-0.01, -0.01, 1], [0.01, -0.01, 1], [-0.01, 0.01, 1]]], dtype=float)
    square += np.array([[[1e-6, 0, 0], [0, 0, 0], [0, 2e-6, 0], [0, 0, 0]]])
    codes, rows = with_close_calls(quad_codes(pair_chords(square)), np.array([0.01]))
    assert rows.tolist() == [0, 0, 0]
    assert len({tuple(ORDER[a]) for a in codes.arrangement}) == 3
    for k, arrangement in enumerate(codes.arrangement):
        named = square[0, ORDER[arrangement]]
        far = [np.linalg.norm(named[i] - named[j]) for i, j in ((0, 2), (1, 2), (0, 3), (1, 3), (2, 3))]
        np.testing.assert_allclose(codes.code[:, k], np.array(far) / np.linalg.norm(named[0] - named[1]), atol=1e-9)


@pytest.mark.parametrize("count", [4, 5, 7])
def test_every_quad_of_the_index_is_found_again_and_named_once(count: int) -> None:
    rng = np.random.default_rng(3)
    position = rng.normal(size=(700, 3))
    position /= np.linalg.norm(position, axis=1, keepdims=True)
    near = nearest(position, count)
    layer = build_layer(position, np.arange(700, dtype=np.int32), near)
    everything = {tuple(sorted((i, *near[i][t - 1]))) for i in range(700) for t in triples_of(count)}
    members = layer.members(np.arange(layer.word.size))
    filed = [tuple(sorted(m)) for m in members.tolist()]
    assert set(filed) == everything
    assert len(filed) == len(everything), "a quad is filed twice"

    codes = quad_codes(pair_chords(position[members]))
    rows, quads = look_up(layer, codes, np.full(len(filed), 1e-3), 0.01)
    assert set(zip(range(len(filed)), range(len(filed)))) <= set(zip(rows.tolist(), quads.tolist()))
    # what comes back resembles what was asked for, to a step of what is filed: of the code, and of CD
    difference = np.abs(codes.code[:, rows] - codes.code[:, quads]).max(axis=1)
    assert difference[:4].max() < 1e-3 + 1.01 / (32 * layer.bins)
    assert difference[4] < 2e-3 + 1.2 / 32


def test_size_is_part_of_the_question() -> None:
    rng = np.random.default_rng(4)
    position = rng.normal(size=(300, 3))
    position /= np.linalg.norm(position, axis=1, keepdims=True)
    layer = build_layer(position, np.arange(300, dtype=np.int32), nearest(position))
    codes = quad_codes(pair_chords(position[layer.members(np.arange(layer.word.size))]))
    twice = type(codes)(codes.code, codes.baseline * 2.0, codes.arrangement)
    rows, quads = look_up(layer, twice, np.full(layer.word.size, 1e-3), 0.10)
    assert not (rows == quads).any()


def test_repeated_quads_marks_all_but_one() -> None:
    rng = np.random.default_rng(5)
    position = rng.normal(size=(200, 3))
    position /= np.linalg.norm(position, axis=1, keepdims=True)
    near = nearest(position)
    repeated = repeated_quads(np.arange(200), near)
    kept = [
        tuple(sorted((i, *near[i][t - 1])))
        for i in range(200)
        for k, t in enumerate(triples_of(5))
        if not repeated[k, i]
    ]
    assert len(kept) == len(set(kept))


def test_quads_of_neighbours_come_once_each() -> None:
    rng = np.random.default_rng(6)
    quads = neighbour_quads(rng.uniform(0, 1000, 15), rng.uniform(0, 800, 15), 6)
    assert len(np.unique(quads, axis=0)) == len(quads)
    assert (np.diff(quads, axis=1) > 0).all()
    assert len(neighbour_quads(np.arange(3.0), np.arange(3.0), 6)) == 0
    assert len(neighbour_quads(np.array([0.0, 9.0, 3.0, 5.0]), np.array([1.0, 2.0, 8.0, 4.0]), 6)) == 1
    assert all_threes(5)[0].tolist() == [0, 1, 2]


@pytest.mark.parametrize("per_edge", [1, 7, 60])
def test_cells_have_like_areas(per_edge: int) -> None:
    rng = np.random.default_rng(7)
    v = rng.normal(size=(400_000, 3))
    v /= np.linalg.norm(v, axis=1, keepdims=True)
    cell = cell_numbers(v, per_edge)
    assert cell.min() >= 0 and cell.max() < 6 * per_edge**2
    if per_edge < 60:
        share = np.bincount(cell, minlength=6 * per_edge**2) * 6 * per_edge**2 / len(v)
        assert share.min() > 0.6 and share.max() < 1.5
