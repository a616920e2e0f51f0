"""Sentences of the report alone."""

from __future__ import annotations


def disturbed_words(proved_at: str, total: str, pole: str, moved_at: str, since: str) -> str:
    """An alignment that was proved, and did not last; `since`: what was measured after it was moved, "" nothing."""
    again = f"measured again at {since}, not proved" if since else "not measured again"
    return f"Proved at {proved_at} UTC to {total} of the {pole}; moved at {moved_at}; {again}."
