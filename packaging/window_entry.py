"""Entry of the windowed program: no console, the window at once."""

from __future__ import annotations

from polewright.__main__ import window_main

if __name__ == "__main__":
    raise SystemExit(window_main())
