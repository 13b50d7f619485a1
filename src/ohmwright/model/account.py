"""The user account of the operating system that runs this program."""

from __future__ import annotations

import getpass
import os


def account_name() -> str:
    """Name of the account, or `user id N` where the computer has no name for it."""
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):  # by version and system of Python
        number = os.getuid() if hasattr(os, "getuid") else "unknown"
        return f"user id {number}"
