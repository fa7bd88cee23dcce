"""Where this program may keep what it has worked out once: the user's cache folder."""

from __future__ import annotations

import os
import sys
from pathlib import Path


def cache_root() -> Path:
    """Folder for compiled code and unit conversions; ``WELLSTRING_CACHE`` names another."""
    base = os.environ.get("WELLSTRING_CACHE")
    if base:
        return Path(base)
    try:
        home = Path.home()
    except RuntimeError:  # a user without a home keeps nothing: below devnull nothing can be made
        return Path(os.devnull) / "wellstring"
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", str(home))) / "wellstring"
    return Path(os.environ.get("XDG_CACHE_HOME", str(home / ".cache"))) / "wellstring"
