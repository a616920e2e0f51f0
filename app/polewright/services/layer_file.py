"""One layer of the pattern index as a file: a line of JSON, then its arrays, each aligned for mapping into memory."""

from __future__ import annotations

import json
import zlib
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from polewright.core.matching.pattern_index import PatternLayer

FORMAT = "polewright star index"
VERSION = 3
_HEADER_BYTES = 4096
_ALIGN = 4096
_SAMPLE = 65536
_ARRAYS = ("star", "neighbours", "cell_start", "anchor", "triple", "detail")


class LayerFileError(Exception):
    """The file is missing, of another version or catalogue, cut short or damaged: make the layer anew."""


def write_layer(out: BinaryIO, layer: PatternLayer, catalogue_checksum: str) -> None:
    """Write the layer. Raises OSError."""
    entries, offset = {}, _HEADER_BYTES
    for name in _ARRAYS:
        array: NDArray[np.generic] = getattr(layer, name)
        entries[name] = {
            "offset": offset,
            "dtype": array.dtype.str,
            "shape": list(array.shape),
            "sample": _sample_checksum(array),
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
    try:
        with path.open("rb") as source:
            header = json.loads(source.read(_HEADER_BYTES))
        if (header["format"], header["version"], header["catalogue"]) != (FORMAT, VERSION, catalogue_checksum):
            raise LayerFileError("another version or catalogue")
        if path.stat().st_size != header["bytes"]:
            raise LayerFileError("cut short")
        whole = np.asarray(np.memmap(path, dtype=np.uint8, mode="r"))
        arrays: dict[str, Any] = {name: _array(whole, header["arrays"][name]) for name in _ARRAYS}
        return PatternLayer(bins=int(header["bins"]), density_per_sr=float(header["density_per_sr"]), **arrays)
    except (OSError, ValueError, KeyError, TypeError) as exc:
        raise LayerFileError(str(exc)) from exc


def _array(whole: NDArray[np.uint8], entry: dict[str, object]) -> NDArray[np.generic]:
    dtype, shape = np.dtype(str(entry["dtype"])), entry["shape"]
    start = int(entry["offset"])  # type: ignore[call-overload]
    assert isinstance(shape, list)
    array = whole[start : start + int(np.prod(shape)) * dtype.itemsize].view(dtype).reshape(shape)
    if _sample_checksum(array) != entry["sample"]:
        raise LayerFileError("damaged")
    return array


def _sample_checksum(array: NDArray[np.generic]) -> int:
    """CRC-32 of the first and last 64 kB: notices a file that was never wholly written, and costs no reading."""
    raw = np.ascontiguousarray(array).reshape(-1).view(np.uint8)
    return zlib.crc32(raw[-_SAMPLE:].tobytes(), zlib.crc32(raw[:_SAMPLE].tobytes()))
