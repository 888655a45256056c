"""Who has a serial port, and who may have it: for messages that name the process to end or the group to join."""

from __future__ import annotations

import errno
import grp
import os
import time
from datetime import datetime
from pathlib import Path

PROC = Path("/proc")


def holders(device: str, proc: Path = PROC) -> list[int]:
    """Processes that have a device open, other than this one; only those that may be looked into are found."""
    target = os.path.realpath(device)
    found = []
    for folder in proc.iterdir():
        if folder.name.isdecimal() and int(folder.name) != os.getpid() and _has_open(folder, target):
            found.append(int(folder.name))
    return sorted(found)


def _has_open(process: Path, target: str) -> bool:
    try:
        return any(os.path.realpath(link) == target for link in (process / "fd").iterdir())
    except OSError:  # it has ended, or belongs to somebody else
        return False


def described(pid: int, proc: Path = PROC) -> str:
    """A process as a person knows it: its number, its name and when it was started."""
    try:
        name = (proc / str(pid) / "comm").read_text().strip()
        ticks = int((proc / str(pid) / "stat").read_text().rpartition(")")[2].split()[19])
    except (OSError, ValueError, IndexError):
        return f"process {pid}"
    age_s = time.clock_gettime(time.CLOCK_BOOTTIME) - ticks / os.sysconf("SC_CLK_TCK")
    since = datetime.fromtimestamp(time.time() - age_s).astimezone().isoformat(timespec="seconds")
    return f"process {pid} ({name}), started {since}"


def taken(device: str) -> OSError:
    """The refusal of a port that another program has."""
    who = " and ".join(described(pid) for pid in holders(device)) or "another program"
    return OSError(errno.EBUSY, f"{device} is in use by {who}; end that, then start again")


def denied(device: str) -> OSError:
    """The refusal of a port that this user may not open, with the way to be let in."""
    try:
        gid = os.stat(device).st_gid
        group = grp.getgrgid(gid).gr_name
    except (OSError, KeyError):
        return OSError(errno.EACCES, f"{device} may not be opened by this user; ask who administers this machine")
    return OSError(
        errno.EACCES,
        f"{device} may be opened by group {group!r} only: have the administrator run `usermod -aG {group} {_user()}`, "
        "then log out and in again",
    )


def _user() -> str:
    import pwd

    try:
        return pwd.getpwuid(os.getuid()).pw_name
    except KeyError:
        return str(os.getuid())
