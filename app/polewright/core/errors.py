"""The exception tree. Expected outcomes (too few stars, clouds, a weak geometry) are values, never exceptions.

PolewrightError            something outside the program is wrong; the message is a sentence with a cure
|-- FrameReadError         a frame file is damaged, empty, or of a kind that cannot be read
|-- CatalogueError         the star catalogue is missing or its checksum is wrong
|-- SettingsError          a profile or setting cannot be read or written
|-- RecordingError         the night's log cannot be written or read
`-- UsageError             the request itself makes no sense (a latitude of 95 degrees)
"""


class PolewrightError(Exception):
    """Base of every error whose message may be shown to a person as it is."""


class FrameReadError(PolewrightError):
    """A frame file is damaged, empty, or of a kind that cannot be read."""


class CatalogueError(PolewrightError):
    """The star catalogue is missing or damaged; the message says how to repair it."""

    def __init__(self, fact: str, cure: str = "") -> None:
        super().__init__(f"{fact} {cure}".strip())
        self.fact, self.cure = fact, cure


class SettingsError(PolewrightError):
    """A profile or setting cannot be read or written."""


class RecordingError(PolewrightError):
    """The night's log cannot be written or read."""


class UsageError(PolewrightError):
    """The request itself makes no sense; the message names the value and what is allowed."""
