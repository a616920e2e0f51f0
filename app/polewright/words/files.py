"""What is said about frame files that could be read, but not believed in everything."""

from __future__ import annotations

from polewright.words.clock import taken_off_words

CLOCK_UNSTATED = (
    "The camera wrote local time without saying how far it is from UTC: state the UTC offset"
    " (on the command line --utc-offset)."
)
TIME_BY_NAME = "The header has no time: the one in the file name is used, taken as UTC."
NO_TIME_AT_ALL = "There is no time in the header, and the file's own time makes no sense."
TIME_BY_FILE = (
    "The header has no time: the file's modification time is used. If a copy has changed it, the result is wrong:"
    " mostly its direction; after years, or with the intervals changed, its size too."
)
EIGHT_BITS = "A 16-bit colour PNG is read with 8 bits only: save FITS or TIFF to keep faint stars."


def ignored(origin: str, name: str, value: str, why: str) -> str:
    """A header value that is not used."""
    return f"{origin} {name} = {value[:40]!r} is ignored: {why}."


def not_read(name: str, what: str) -> str:
    """A file that is nothing but of another kind."""
    return f"{name} is {what}, which is not read: set the camera to save FITS, TIFF, JPEG or its raw format."


def exif_time_ignored(why: str) -> str:
    """EXIF's time makes no sense."""
    return f"EXIF DateTimeOriginal is ignored: {why}"


def exif_pixels_ignored(size_um: float) -> str:
    """EXIF's focal-plane resolution makes pixels of a size that none have."""
    return f"EXIF FocalPlaneXResolution makes pixels of {size_um:.3g} um and is ignored."


def exif_unreadable(kind: str) -> str:
    """The EXIF data are damaged, by an error of this kind."""
    return f"The EXIF data cannot be read ({kind}) and are ignored."


def scales_contradict(computed: float, source: str, stated: float) -> str:
    """Focal length and pixel size make another scale than the header states, arcsec per pixel."""
    return (
        f"The header contradicts itself: focal length and pixel size make {computed:.3g} arcsec per pixel,"
        f" {source} says {stated:.3g}."
    )


def scales_differ(used: str, used_arcsec: float, other: str, other_arcsec: float) -> str:
    """Two scales in one header, arcsec per pixel; the first is used."""
    return (
        f"The header contradicts itself: {used} says {used_arcsec:.3g} arcsec per pixel, {other} {other_arcsec:.3g}."
        " The first is used: check the binning."
    )


def binned_size(source: str, size_um: float, binning: float, photosite_um: float) -> str:
    """A pixel size is taken as that after binning."""
    return (
        f"{source} = {size_um:g} um is taken as the size after {binning:g} x {binning:g} binning; if it is the size"
        f" of one photosite, state a pixel size of {photosite_um:g} um."
    )


def counts_westward(source: str, lon_deg: float) -> str:
    """A longitude is counted to the west; `lon_deg` east is used."""
    return f"{source} counts longitude to the west: {lon_deg:g} degrees east is used."


def put_right(source: str, clock_ahead_s: float) -> str:
    """Where a time comes from when the clock's offset was taken off."""
    return f"{source}, {taken_off_words(clock_ahead_s)}"


def site_doubtful(source: str) -> str:
    """A longitude fits nothing else in the header."""
    return f"{source} does not fit the other facts in the header: check the site."


def no_exposure(source: str) -> str:
    """The time stamp is taken as the middle of the exposure."""
    return f"No exposure time in the header: {source} is taken as the middle."


def pixels_mended(count: int) -> str:
    """So many pixels were no numbers."""
    return f"{count} pixels are not numbers: they were replaced by the median."


def first_of_stack(images: int) -> str:
    """A file of so many images."""
    return f"The file is a stack of {images} images: the first one is used."


def image_used(number: int, images: int, name: str | None) -> str:
    """Which of several images of one file this is; `name` as the file calls it."""
    called = f" ({name[:30]})" if name else ""
    return f"The file holds {images} images: number {number}{called} is used."


def other_scale(solved_arcsec_px: float, stated_arcsec_px: float) -> str:
    """The stars show another scale than was stated."""
    return (
        f"The frame fits a scale of {solved_arcsec_px:.2f} arcsec/px, not {stated_arcsec_px:.2f}: check the focal"
        " length, the pixel size and the binning."
    )


def another_camera(camera: str, before: str) -> str:
    """A frame names another camera than the one before it."""
    return f"Taken with the camera {camera}, the frame before with {before}: use one camera for all."


A_YEAR_MAKES = "Each year that the date is wrong moves the pole, and the answer, by 20″."


def date_off(days: float) -> str:
    """A frame is dated so many days (positive) after its file was written, or before."""
    if days > 0.0:
        return f"Dated {days:.0f} days after its file was written: check the camera's date. {A_YEAR_MAKES}"
    return (
        f"Dated {-days:.0f} days before its file was written: check the camera's date, unless the file is a copy."
        f" {A_YEAR_MAKES}"
    )


def date_too_old(year: int) -> str:
    """A frame is dated before there were cameras that write such files."""
    return f"Dated {year}: check the camera's date. {A_YEAR_MAKES}"


# the frame folder


def folder_lost(name: str, problem: str) -> str:
    """The frame folder cannot be looked into any more; `problem` as the system says it."""
    return f"The folder {name} cannot be reached: {problem[:1].lower()}{problem[1:]}."


# files of the program's own

REPAIR_CATALOGUE = (
    "To repair it, install Polewright again, or, in a checkout, restore the file with 'git checkout resources' or"
    " rebuild it with 'python packaging/build_catalogue.py'."
)
TRY_THE_NEXT = "It may still be being written, or the disk or card is at fault: try the next frame."
TAKE_IT_OUT = "The file is damaged, or not a frame of stars: take it out of the folder, or go on with the next one."


def damaged(name: str, why: str) -> str:
    """A file that cannot be used."""
    return f"{name} is damaged: {why}."


def damaged_line(number: int, name: str) -> str:
    """A line of a record that is left out."""
    return f"Line {number} of {name} is damaged and left out."


def misplaced_line(number: int, name: str, missing: int) -> str:
    """A line of a record whose own number is not the next one: so many are missing before it (negative: repeated)."""
    if missing > 0:
        return f"Before line {number} of {name} {'a line is' if missing == 1 else f'{missing} lines are'} missing."
    return f"Line {number} of {name} is out of place: its number has occurred before."


def torn_end(count: int, name: str) -> str:
    """The end of a record that a crash has torn."""
    return f"The last {count} bytes of {name} were torn by a crash and are left out."
