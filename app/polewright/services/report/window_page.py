"""The report for the window's own page: the same text, its drawings named and set apart, no style of its own."""

from __future__ import annotations

import re

DRAWING = re.compile(r"<svg.*?</svg>", re.DOTALL)
LEFT_OUT = re.compile(r"<head>.*?</head>|<!DOCTYPE[^>]*>", re.DOTALL)
TERM = re.compile(r"<dt>(.*?)</dt><dd>(.*?)</dd>", re.DOTALL)


def window_page(html: str) -> tuple[str, tuple[tuple[str, str], ...]]:
    """(rich text, ((name, SVG), ...)) of a report's page."""
    drawings: list[tuple[str, str]] = []

    def named(found: re.Match[str]) -> str:
        name = f"drawing-{len(drawings)}"
        drawings.append((name, found[0]))
        return f'<p><img src="{name}"></p>'

    text = DRAWING.sub(named, LEFT_OUT.sub("", html))
    text = TERM.sub(r"<tr><td>\1</td><td>\2</td></tr>", text)  # a list of terms has no columns in rich text
    text = text.replace("<dl>", "<table>").replace("</dl>", "</table>")
    return text.replace("<figcaption>", "<p class='faint'>").replace("</figcaption>", "</p>"), tuple(drawings)
