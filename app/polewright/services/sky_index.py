"""The pattern index of the whole sky, layer by layer: built once, kept in a folder, mapped when needed.

Decided 2026-11-25. Star patterns: an index of our own. Whole-sky databases of the pattern library at hand grow to
hundreds of megabytes for narrow fields, and its regional ones need a pointing. Density layers of the sky, each
hashed by star quads into memory-mapped files that are built once on demand; candidates from the whole sky, a ring
of declination or the surroundings of a hint all pass one verification and one fit. The library extracts candidate
stars for the quick pass of detection instead, where it is fastest.
"""

from __future__ import annotations

import mmap
import os
import tempfile
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from polewright.core.matching.layers import LAYERS_PER_SQ_DEG, layer_stars, neighbours_wanted
from polewright.core.matching.pattern_index import PatternLayer, build_layer
from polewright.core.matching.work import IndexMade, SolverWork
from polewright.core.sky.catalogue import Catalogue
from polewright.services.layer_file import LayerFileError, OutdatedLayerError, is_current, map_layer, write_layer

Progress = Callable[[SolverWork, float], None]
"""What is being done, and its share; it may raise, to stop the work."""
_UNFINISHED = ".part"
_ABANDONED_S = 900.0  # no build takes that long
_AT_A_TIME = 200_000  # stars
_LARGE = 32_000_000  # bytes; what is smaller may stay in memory


class SkyIndex:
    """Pattern layers of one catalogue, made when first asked for.

    `cache_dir` may be missing, full, read-only or hold damaged files: the layer is then made anew and kept in memory.
    """

    def __init__(self, catalogue: Catalogue, cache_dir: Path, workers: int | None = None) -> None:
        self._catalogue = catalogue
        self._cache_dir = cache_dir
        self._workers = workers or min(4, os.cpu_count() or 1)
        self._layers: dict[int, PatternLayer] = {}
        self._mappings: dict[int, mmap.mmap] = {}
        self._seen: set[int] = set()

    def layer(self, number: int, progress: Progress | None = None) -> PatternLayer:
        """Layer `number` of LAYERS_PER_SQ_DEG: from memory, from the cache, or built (up to ten seconds)."""
        if number not in self._layers:
            layer, damaged = self._from_cache(number)
            self._layers[number] = layer or self._build(number, damaged, progress)
        return self._layers[number]

    def release(self, number: int) -> None:
        """Give back the memory of what was looked at of a large layer; the file is mapped as before."""
        mapping = self._mappings.get(number)
        if mapping is not None and len(mapping) > _LARGE and hasattr(mapping, "madvise"):
            mapping.madvise(mmap.MADV_DONTNEED)

    def is_ready(self, number: int) -> bool:
        """Is the layer in memory, or was there a file of it, of this version?"""
        known = number in self._layers or number in self._seen
        if not known and is_current(self.path(number), self._catalogue.checksum):
            self._seen.add(number)
        return number in self._layers or number in self._seen

    def path(self, number: int) -> Path:
        """Where the layer is kept."""
        return self._cache_dir / f"stars-{self._catalogue.checksum[:12]}-layer-{number:02d}.index"

    def _from_cache(self, number: int) -> tuple[PatternLayer | None, str]:
        """The layer of the file, or None and the name of the file where it is damaged."""
        path = self.path(number)
        if not path.is_file():
            return None, ""
        try:
            layer, self._mappings[number] = map_layer(path, self._catalogue.checksum)
        except LayerFileError as error:
            return None, "" if isinstance(error, OutdatedLayerError) else path.name
        return layer, ""

    def _build(self, number: int, damaged: str, progress: Progress | None) -> PatternLayer:
        report = progress or (lambda _work, _fraction: None)
        work = IndexMade(LAYERS_PER_SQ_DEG[number], damaged)
        report(work, 0.0)
        star = layer_stars(self._catalogue, number)
        position = self._catalogue.position[star]
        neighbours = _nearest(position, neighbours_wanted(number), self._workers)
        report(work, 0.4)
        with ThreadPoolExecutor(self._workers) as pool:
            layer = build_layer(position, star, neighbours, pool.map)
        report(work, 0.9)
        kept = self._keep(number, layer)
        report(work, 1.0)
        return kept

    def _keep(self, number: int, layer: PatternLayer) -> PatternLayer:
        """Write the layer beside the others in one step; hand back the mapped file, or the layer itself."""
        target = self.path(number)
        try:
            self._cache_dir.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=self._cache_dir, prefix=target.stem, suffix=_UNFINISHED)
            _remove_abandoned(Path(name))
            try:
                with os.fdopen(handle, "wb") as out:
                    write_layer(out, layer, self._catalogue.checksum)
                Path(name).replace(target)
            except OSError:
                Path(name).unlink(missing_ok=True)
                raise
        except OSError:
            return layer
        return self._from_cache(number)[0] or layer


def _remove_abandoned(own: Path) -> None:
    """Unfinished files that are much older than our own were left behind by a build that was interrupted."""
    for other in own.parent.glob(f"stars-*{_UNFINISHED}"):
        try:
            if own.stat().st_mtime - other.stat().st_mtime > _ABANDONED_S:
                other.unlink()
        except OSError:
            continue  # somebody else was quicker, or may not be disturbed


def _nearest(position: NDArray[np.float64], count: int, workers: int) -> NDArray[np.int32]:
    """(N, count) the nearest other stars, nearest first."""
    from scipy.spatial import cKDTree

    tree = cKDTree(position, leafsize=32, balanced_tree=False)
    nearest = np.empty((len(position), count), dtype=np.int32)
    for first in range(0, len(position), _AT_A_TIME):
        piece = slice(first, first + _AT_A_TIME)
        near = np.asarray(tree.query(position[piece], k=count + 1, workers=workers)[1])
        own = np.arange(first, first + len(near))[:, None]
        # of two stars at one place, the tree may name the other first
        nearest[piece] = np.where(near == own, near[:, :1], near)[:, 1:]
    return nearest
