"""What the panel of troubles shows beside the instruction: what happened, and what to do."""

from __future__ import annotations

import traceback
from dataclasses import dataclass

from polewright.words.notices import fault_words


@dataclass(frozen=True)
class Notice:
    """`topic` tells notices apart: a newer one of the same topic takes the place of the older."""

    topic: str
    cause: str
    cure: str
    count: int = 1


def fault_notice(where: str, error: Exception) -> Notice:
    """A fault in this program, as a person should read it."""
    return Notice(f"fault {where}", *fault_words(where, error))


def fault_record(where: str, error: Exception) -> dict[str, str]:
    """The same for the record, with the traceback."""
    return {"where": where, "error": repr(error), "traceback": "".join(traceback.format_exception(error))}
