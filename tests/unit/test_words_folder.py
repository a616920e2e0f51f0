"""What a quiet folder is said to hold."""

from __future__ import annotations

import pytest

from polewright.words.folder import followed_words, quiet_folder


@pytest.mark.parametrize(
    ("said", "reason", "cure"),
    [
        (quiet_folder("run", 0, None), "No new frame in run: no frames there.", "Check that the camera is taking"),
        (
            quiet_folder("run", 12, 200.0),
            "No new frame in run: 12 frames there, the newest came 3 min 20 s ago.",
            "Check that the camera is taking",
        ),
        (
            quiet_folder("run", 0, None, others=[(".ser", 3), ("", 1)]),
            "No new frame in run: no frames there. Files that are not read: 3 .ser and 1 without ending.",
            "Set the camera to save FITS",
        ),
        (
            quiet_folder("run", 0, None, below=[("2026-11-20b", 4)]),
            "No new frame in run: no frames there. There are frames in the sub-folder 2026-11-20b.",
            "Does the camera write to 2026-11-20b?",
        ),
    ],
)
def test_a_quiet_folder_tells_what_lies_in_it_and_what_to_do(said: tuple[str, str], reason: str, cure: str) -> None:
    assert said[0] == reason
    assert said[1].startswith(cure) and said[1].endswith("Ctrl+O chooses another folder.")


def test_followed_folders_are_named_newest_first_with_their_limit() -> None:
    assert followed_words(["2026-11-20"], 0) == "Watched as well: 2026-11-20"
    words = followed_words(["c", "b", "a", "x", "y"], 9)
    assert words == "Watched as well: c, b, a and 2 more, the newest of 14 by date"
