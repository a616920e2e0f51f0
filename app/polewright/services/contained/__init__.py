"""Reading and measuring frames in a process of its own, whose death, memory and time do not matter to the night.

A frame file is whatever somebody left in a folder, and the libraries that unpack compressed FITS, TIFF, JPEG and
camera raw files are not ours: some bytes make them loop for minutes, ask for gigabytes, or abort. `helper` is the
process, `process` its side here, `wire` what they say to each other, `ceiling` what the helper may use,
`reader` who asks for what.
"""

FLAG = "--contained"
"""The argument with which the program starts itself as the helper."""
