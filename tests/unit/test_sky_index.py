"""The index cache: kept, reused, rebuilt when stale or damaged, dispensable when nothing can be written."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from polewright.core.matching.layers import LAYERS_PER_SQ_DEG, layer_stars
from polewright.core.matching.pattern_index import PatternLayer
from polewright.core.matching.work import IndexMade, SolverWork
from polewright.services.layer_file import VERSION, LayerFileError, read_layer
from polewright.services.sky_index import SkyIndex
from sky_solver import shared_catalogue

LAYER = 8  # about 1,200 stars
ARRAYS = ("star", "neighbours", "filled", "before", "start", "which", "word")


def same(a: PatternLayer, b: PatternLayer) -> bool:
    return all(np.array_equal(getattr(a, n), getattr(b, n)) for n in ARRAYS) and a.bins == b.bins


def test_built_once_then_read_from_the_file(tmp_path: Path) -> None:
    said: list[float] = []
    first = SkyIndex(shared_catalogue(), tmp_path)
    built = first.layer(LAYER, lambda _what, fraction: said.append(fraction))
    assert said[0] == 0.0 and said[-1] == 1.0
    assert [p.name for p in tmp_path.iterdir()] == [first.path(LAYER).name], "no temporary file stays behind"
    said.clear()
    again = SkyIndex(shared_catalogue(), tmp_path).layer(LAYER, lambda _what, fraction: said.append(fraction))
    assert said == [] and same(built, again)


@pytest.mark.parametrize("harm", ["cut", "head", "first array", "one bit in the middle", "empty", "text"])
def test_a_damaged_file_is_made_anew(tmp_path: Path, harm: str) -> None:
    index = SkyIndex(shared_catalogue(), tmp_path)
    good, path = index.layer(LAYER), index.path(LAYER)
    data = bytearray(path.read_bytes())
    if harm == "cut":
        data = data[: len(data) // 2]
    elif harm == "head":
        data[5] ^= 0xFF
    elif harm == "first array":
        data[4096 + 100] ^= 0xFF
    elif harm == "one bit in the middle":
        data[len(data) // 2] ^= 0x10
    elif harm == "empty":
        data = bytearray()
    else:
        data = bytearray(b"not an index")
    path.unlink()
    path.write_bytes(data)
    with pytest.raises(LayerFileError):
        read_layer(path, shared_catalogue().checksum)
    said: list[SolverWork] = []
    assert same(SkyIndex(shared_catalogue(), tmp_path).layer(LAYER, lambda what, _fraction: said.append(what)), good)
    if harm != "text":
        assert isinstance(said[0], IndexMade) and said[0].instead_of == path.name
    read_layer(path, shared_catalogue().checksum)  # and it is whole again


def test_files_of_an_interrupted_build_are_removed(tmp_path: Path) -> None:
    """Those of the last quarter of an hour may be another program's build in progress."""
    abandoned, busy = tmp_path / "stars-0123-layer-00abc.part", tmp_path / "stars-0123-layer-01abc.part"
    for path in (abandoned, busy):
        path.write_bytes(b"unfinished")
    long_ago = busy.stat().st_mtime - 3600.0
    os.utime(abandoned, (long_ago, long_ago))
    index = SkyIndex(shared_catalogue(), tmp_path)
    index.layer(LAYER)
    assert {p.name for p in tmp_path.iterdir()} == {busy.name, index.path(LAYER).name}


def test_memory_given_back_is_read_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("polewright.services.sky_index._LARGE", 0)
    index = SkyIndex(shared_catalogue(), tmp_path)
    layer = index.layer(LAYER)
    before = np.array(layer.word)
    index.release(LAYER)
    index.release(LAYER + 1)  # not loaded: nothing to give back
    assert np.array_equal(layer.word, before)


def test_a_file_of_another_catalogue_is_not_used(tmp_path: Path) -> None:
    index = SkyIndex(shared_catalogue(), tmp_path)
    index.layer(LAYER)
    other = replace(shared_catalogue(), checksum="f" * 64)
    assert SkyIndex(other, tmp_path).path(LAYER) != index.path(LAYER)
    with pytest.raises(LayerFileError):
        read_layer(index.path(LAYER), other.checksum)


def test_a_file_of_an_older_version_is_replaced_without_a_word(tmp_path: Path) -> None:
    index = SkyIndex(shared_catalogue(), tmp_path)
    index.layer(LAYER)
    whole = index.path(LAYER).read_bytes()
    index.path(LAYER).unlink()
    index.path(LAYER).write_bytes(whole.replace(b'"version": %d' % VERSION, b'"version": %d' % (VERSION - 1), 1))
    again, said = SkyIndex(shared_catalogue(), tmp_path), list[SolverWork]()
    assert not again.is_ready(LAYER), "whoever makes the index ahead of time must not pass it over"
    again.layer(LAYER, lambda what, _fraction: said.append(what))
    assert isinstance(said[0], IndexMade) and said[0].instead_of == "", "an older file is not called damaged"
    assert SkyIndex(shared_catalogue(), tmp_path).is_ready(LAYER) and index.path(LAYER).read_bytes() == whole


def test_a_quad_costs_seven_bytes_and_a_layer_little_more(tmp_path: Path) -> None:
    """The whole index of the program's catalogue is 247 MB so, and was 416 (measured, all ten layers)."""
    layer = (index := SkyIndex(shared_catalogue(), tmp_path)).layer(LAYER)
    assert layer.which.nbytes + layer.word.nbytes == 7 * layer.word.size
    assert index.path(LAYER).stat().st_size < 9.7 * layer.word.size


def test_works_from_memory_where_nothing_can_be_written(tmp_path: Path) -> None:
    blocked = tmp_path / "a file, not a folder"
    blocked.write_text("in the way")
    in_memory = SkyIndex(shared_catalogue(), blocked).layer(LAYER)
    assert same(in_memory, SkyIndex(shared_catalogue(), tmp_path / "fine").layer(LAYER))


@pytest.mark.parametrize("number", [4, 6, 8, 9])
def test_layers_have_the_density_they_promise_everywhere(number: int) -> None:
    catalogue = shared_catalogue()
    star = layer_stars(catalogue, number)
    assert len(np.unique(star)) == len(star)
    assert len(star) / 41252.96 == pytest.approx(LAYERS_PER_SQ_DEG[number], rel=0.15)
    # caps that hold 60 stars on average hold neither few nor many: no holes, no crowds
    radius = np.sqrt(60 / LAYERS_PER_SQ_DEG[number] / np.pi)
    rng = np.random.default_rng(1)
    v = rng.normal(size=(300, 3))
    v[:6] = np.concatenate([np.eye(3), -np.eye(3)])
    v /= np.linalg.norm(v, axis=1, keepdims=True)
    counts = (catalogue.position[star] @ v.T > np.cos(np.radians(radius))).sum(axis=0)
    assert counts.min() > 25 and counts.max() < 110
