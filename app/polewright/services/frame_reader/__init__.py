"""A frame file of any kind the trade uses -> `Frame`, or `FrameReadError` with a plain sentence.

One file per format family (plain_fits, compressed_fits, tiff, picture, raw_photo) turns bytes into a `Raster`; the
header_* files turn what the header says into `FrameFacts`, each with where it came from; `reading` joins them.
"""

from polewright.services.frame_reader.families import FRAME_SUFFIXES
from polewright.services.frame_reader.reading import read_frame

__all__ = ["FRAME_SUFFIXES", "read_frame"]
