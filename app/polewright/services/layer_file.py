"""One layer of the pattern index as a file: a line of JSON, then its arrays, each aligned for mapping into memory.

Decided 2026-11-25. The whole index is checked when it is opened. Every byte of a layer is read once through a
buffer and compared with its CRC-32, 0.1 s for the largest. Samples of the ends missed a bit flipped in the middle;
checking while looking up would put file formats into core.
"""

from __future__ import annotations

import json
import math
import mmap
import zlib
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from polewright.core.matching.filled_cells import words_for
from polewright.core.matching.pattern_index import MOST_NEIGHBOURS, PatternLayer, cell_count
from polewright.services.regular_file import open_regular

FORMAT = "polewright star index"
VERSION = 6
_HEADER_BYTES = 4096  # room for the table of arrays in JSON, a page
_ALIGN = 4096  # a page of memory: arrays are mapped
_PIECE = 1 << 20  # read at a time for the checksum
MOST_BINS = 1000  # per number; more is a damaged file
OUTDATED = "another version or catalogue"
DAMAGED = "damaged"
_ARRAYS = {
    "star": np.uint8,
    "neighbours": np.uint8,
    "filled": np.uint64,
    "before": np.int32,
    "start": np.int32,
    "which": np.uint8,
    "word": np.uint32,
}


class LayerFileError(Exception):
    """The file is missing, of another version or catalogue, cut short or damaged: make the layer anew."""


class OutdatedLayerError(LayerFileError):
    """The file is sound, but of another version or catalogue."""


def write_layer(out: BinaryIO, layer: PatternLayer, catalogue_checksum: str) -> None:
    """Write the layer. Raises OSError."""
    entries, offset = {}, _HEADER_BYTES
    for name in _ARRAYS:
        array: NDArray[np.generic] = getattr(layer, name)
        entries[name] = {
            "offset": offset,
            "dtype": array.dtype.str,
            "shape": list(array.shape),
            "whole": zlib.crc32(np.ascontiguousarray(array).data),
        }
        offset += -(-array.nbytes // _ALIGN) * _ALIGN
    header = {
        "format": FORMAT,
        "version": VERSION,
        "catalogue": catalogue_checksum,
        "bins": layer.bins,
        "density_per_sr": layer.density_per_sr,
        "bytes": offset,
        "arrays": entries,
    }
    text = json.dumps(header).encode()
    out.write(text.ljust(_HEADER_BYTES - 1) + b"\n")
    for name in _ARRAYS:
        array = np.ascontiguousarray(getattr(layer, name))
        out.write(array.data)
        out.write(bytes(-array.nbytes % _ALIGN))
    out.flush()


def read_layer(path: Path, catalogue_checksum: str) -> PatternLayer:
    """The layer, its arrays mapped read-only from the file. Raises LayerFileError."""
    return map_layer(path, catalogue_checksum)[0]


def is_current(path: Path, catalogue_checksum: str) -> bool:
    """Whether a file of this version and catalogue is there, by its first line; it may be damaged further on."""
    try:
        with open_regular(path) as source:
            _header(source, catalogue_checksum)
    except (OSError, ValueError, KeyError, TypeError, RecursionError, LayerFileError):
        return False
    return True


def _header(source: BinaryIO, catalogue_checksum: str) -> dict[str, Any]:
    header: dict[str, Any] = json.loads(source.read(_HEADER_BYTES))
    if (header["format"], header["version"], header["catalogue"]) != (FORMAT, VERSION, catalogue_checksum):
        raise OutdatedLayerError(OUTDATED)
    return header


def map_layer(path: Path, catalogue_checksum: str) -> tuple[PatternLayer, mmap.mmap]:
    """The layer and the mapping behind its arrays. Raises LayerFileError.

    Every byte is read once and checked, through a buffer: that costs half a second for each gigabyte, and no memory.
    """
    try:
        with open_regular(path) as source:
            header = _header(source, catalogue_checksum)
            if path.stat().st_size != header["bytes"]:
                raise LayerFileError(DAMAGED + ": cut short")
            mapping = mmap.mmap(source.fileno(), 0, access=mmap.ACCESS_READ)
            whole = np.frombuffer(mapping, dtype=np.uint8)
            arrays: dict[str, Any] = {name: _array(source, whole, name, header["arrays"][name]) for name in _ARRAYS}
        layer = PatternLayer(bins=int(header["bins"]), density_per_sr=float(header["density_per_sr"]), **arrays)
    except (OSError, ValueError, KeyError, TypeError, OverflowError, RecursionError) as exc:
        raise LayerFileError(str(exc)) from exc
    if not _fits_together(layer):
        raise LayerFileError(DAMAGED)
    return layer, mapping


def _array(source: BinaryIO, whole: NDArray[np.uint8], name: str, entry: dict[str, Any]) -> NDArray[np.generic]:
    dtype, shape, start = np.dtype(_ARRAYS[name]), [int(length) for length in entry["shape"]], int(entry["offset"])
    if entry["dtype"] != dtype.str or start < _HEADER_BYTES or min(shape, default=0) < 1:
        raise LayerFileError(DAMAGED)
    size = math.prod(shape) * dtype.itemsize
    array = whole[start : start + size].view(dtype).reshape(shape)
    if _checksum(source, start, size) != entry["whole"]:
        raise LayerFileError(DAMAGED)
    return array


def _checksum(source: BinaryIO, start: int, size: int) -> int:
    """CRC-32 of a piece of the file."""
    source.seek(start)
    buffer = memoryview(bytearray(min(size, _PIECE)))
    total, left = 0, size
    while left > 0 and (count := source.readinto(buffer[: min(left, _PIECE)])):  # type: ignore[attr-defined]
        total = zlib.crc32(buffer[:count], total)
        left -= count
    return total


def _fits_together(layer: PatternLayer) -> bool:
    """Whether the arrays have the sizes that belong together; their insides are vouched for by the checksums."""
    stars, quads, words = len(layer.star), layer.word.size, words_for(cell_count(layer.bins))
    return (
        layer.star.shape == (stars, 3)
        and layer.neighbours.ndim == 3
        and layer.neighbours.shape[::2] == (stars, 3)
        and layer.neighbours.shape[1] <= MOST_NEIGHBOURS
        and layer.which.shape == (quads, 3)
        and layer.word.ndim == layer.start.ndim == 1
        and 0 < layer.bins <= MOST_BINS
        and layer.filled.shape == layer.before.shape == (words,)
        and layer.start.size == 1 + int(np.bitwise_count(layer.filled).sum())
        and int(layer.start[0]) == 0
        and int(layer.start[-1]) == quads
        and 0.0 < layer.density_per_sr < math.inf
    )
