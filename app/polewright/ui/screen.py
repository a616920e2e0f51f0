"""Whether there is a screen to open a window on, asked before Qt, which would abort."""

from __future__ import annotations

import os
import socket
import sys
from collections.abc import Mapping
from pathlib import Path


def screen_here(platform: str = sys.platform, env: Mapping[str, str] = os.environ) -> bool:
    """True where a window can be expected to open; only Linux and its kin may be without."""
    if not platform.startswith(("linux", "freebsd", "openbsd", "netbsd")):
        return True
    if env.get("QT_QPA_PLATFORM", "").split(":")[0] in ("offscreen", "minimal", "vnc", "linuxfb", "eglfs"):
        return True
    return _wayland(env) or _x11(env.get("DISPLAY", ""))


def _wayland(env: Mapping[str, str]) -> bool:
    name, folder = env.get("WAYLAND_DISPLAY", ""), env.get("XDG_RUNTIME_DIR", "")
    return bool(name) and _answers(name if name.startswith("/") else str(Path(folder) / name))


def _x11(display: str) -> bool:
    """A local display must answer on its socket; a forwarded one (host:10.0) is believed."""
    host, colon, number = display.rpartition(":")
    if not colon:
        return False
    if host and not host.startswith("unix"):
        return True
    path = f"/tmp/.X11-unix/X{number.split('.')[0]}"
    return _answers(path) or _answers("\0" + path)


def _answers(path: str) -> bool:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as knock:
        knock.settimeout(1.0)
        try:
            knock.connect(path)
        except OSError:
            return False
    return True
