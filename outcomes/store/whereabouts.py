"""Where a store lies: on a disk of this computer, or on a drive that others reach as well."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

# File systems whose files lie on another computer, by the names that mount tables give them.
NETWORK = {"nfs", "nfs3", "nfs4", "cifs", "smb", "smb2", "smb3", "smbfs", "ncpfs", "afs", "afpfs", "webdav", "davfs", "davfs2", "ceph", "lustre", "glusterfs", "gfs2", "sshfs", "rclone", "gvfsd-fuse", "beegfs"}
REMOTE_DRIVE = 4  # DRIVE_REMOTE, as Windows' GetDriveTypeW answers


def network_note(path: Path) -> str:
    """A sentence where the store lies on a network drive, else an empty text; also empty where the system does not tell."""
    try:
        if not on_network(path):
            return ""
    except (OSError, ValueError, AttributeError, subprocess.SubprocessError):
        return ""
    return (f"{path.name} lies on a network drive. Such drives do not always keep two programs apart, and a broken connection can damage a store: "
            "keep it on this computer's own disk, and copy it to the network drive when no program uses it.")


def on_network(path: Path) -> bool:
    """Whether the system says that the file lies on another computer."""
    if sys.platform == "win32":
        return windows_remote(os.path.abspath(path), _drive_type)
    if sys.platform == "darwin":
        table = subprocess.run(["/sbin/mount"], capture_output=True, text=True, timeout=5).stdout
        return kind_of(os.path.realpath(path), mac_mounts(table)) in NETWORK
    return kind_of(os.path.realpath(path), linux_mounts(Path("/proc/self/mounts").read_text(encoding="utf-8", errors="replace"))) in NETWORK


def windows_remote(path: str, drive_type) -> bool:
    r"""Whether a Windows path is a share (\\server\share) or lies on a drive letter that stands for one.

    >>> [windows_remote(path, {"Z:\\": 4}.get) for path in (r"\\server\clinic\log.duckdb", r"\\?\UNC\server\clinic\x", r"\\?\C:\x", r"C:\clinic\x", r"Z:\clinic\x")]
    [True, True, False, False, True]
    """
    path = path.replace("/", "\\")
    if path.startswith(("\\\\?\\", "\\\\.\\")):
        path = "\\\\" + path[8:] if path[4:8].upper() == "UNC\\" else path[4:]
    if path.startswith("\\\\"):
        return True
    return len(path) > 1 and path[1] == ":" and drive_type(path[:2] + "\\") == REMOTE_DRIVE


def _drive_type(root: str) -> int:
    import ctypes

    return ctypes.windll.kernel32.GetDriveTypeW(root)


def linux_mounts(text: str) -> list[tuple[str, str]]:
    """(folder, kind) of each line of a mount table; blanks in folders are written as octal numbers there."""
    out = []
    for line in text.splitlines():
        parts = line.split(" ")
        if len(parts) > 2:
            out.append((re.sub(r"\\([0-7]{3})", lambda found: chr(int(found[1], 8)), parts[1]), parts[2]))
    return out


def mac_mounts(text: str) -> list[tuple[str, str]]:
    """(folder, kind) of each line such as ``//user@server/share on /Volumes/share (smbfs, nodev)``."""
    return [(found[1], found[2]) for found in re.finditer(r"^.+? on (/.*?) \((\w+)", text, re.MULTILINE)]


def kind_of(path: str, mounts: list[tuple[str, str]]) -> str:
    """The kind of file system that holds a path: that of the longest folder above it, the last where two are mounted on one."""
    best, kind = -1, ""
    for folder, name in mounts:
        inside = path == folder or path.startswith(folder.rstrip("/") + "/")
        if inside and len(folder) >= best:
            best, kind = len(folder), name
    return kind.removeprefix("fuse.")
