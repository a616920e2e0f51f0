"""PyInstaller: of astropy the program uses the FITS reader alone, for tile-compressed images."""

from __future__ import annotations

from PyInstaller.utils.hooks import collect_data_files, collect_submodules, copy_metadata

hiddenimports = [
    *collect_submodules("astropy.io.fits", filter=lambda name: ".tests" not in name and ".scripts" not in name),
    *collect_submodules("astropy.constants", filter=lambda name: ".tests" not in name),  # chosen by name when loaded
    *collect_submodules("astropy.units", filter=lambda name: ".tests" not in name),
    "numpy.lib.recfunctions",
]
datas = [
    *collect_data_files(
        "astropy", includes=["astropy.cfg", "CITATION", "units/format/*tab.py"], include_py_files=True
    ),
    *copy_metadata("astropy"),
    *copy_metadata("numpy"),
]
