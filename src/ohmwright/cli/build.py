"""Which commit of this program runs: builds of one version are told apart by it."""

from __future__ import annotations

import json
from contextlib import suppress
from importlib.metadata import PackageNotFoundError, distribution
from subprocess import SubprocessError, run
from urllib.parse import urlsplit
from urllib.request import url2pathname

_GIT_WITHIN_S = 5.0


def build_commit() -> str:
    """Return the commit that was installed, or the one of the checkout in use; else "unknown"."""
    with suppress(OSError, SubprocessError, ValueError, PackageNotFoundError):
        origin = json.loads(distribution("ohmwright").read_text("direct_url.json") or "{}")
        if "vcs_info" in origin:
            return str(origin["vcs_info"]["commit_id"])
        if origin.get("dir_info", {}).get("editable"):
            return _described(url2pathname(urlsplit(origin["url"]).path))
    return "unknown"


def _described(folder: str) -> str:
    """Return the commit of a checkout, with "-dirty" where files of it were changed since."""
    git = ("git", "-C", folder, "describe", "--always", "--dirty", "--exclude=*")
    return run(
        git, capture_output=True, text=True, check=True, timeout=_GIT_WITHIN_S
    ).stdout.strip()
