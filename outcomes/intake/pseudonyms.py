"""Pseudonyms by a keyed hash: the same person gives the same pseudonym in every file, and nobody without the key can go back or try names."""

from __future__ import annotations

import base64
import hashlib
import hmac
import os
import secrets
import stat
import unicodedata
from pathlib import Path

from outcomes.errors import DataProblem, Misuse

HEAD = "outcomes key of pseudonyms, version 1"
LENGTH = 12  # letters of a pseudonym: 60 bits, so that two of a million people meet with a chance of 4 in 10 million, and then are named
_BYTES = 32


class Key:
    """A key of pseudonyms. ``fingerprint`` tells keys apart and gives nothing away; the key itself is never shown."""

    def __init__(self, secret: bytes):
        self._secret = secret
        self._made: dict[str, str] = {}
        self.fingerprint = digest(secret, b"fingerprint").hex()[:12]

    def pseudonym(self, text: str) -> str:
        """The pseudonym of a person's name or number, as ``spelled`` writes it. Raises DataProblem where two different ones would share it."""
        bare = spelled(text)
        made = base64.b32encode(digest(self._secret, b"person:" + bare.encode("utf-8"))).decode("ascii")[:LENGTH]
        if self._made.setdefault(made, bare) != bare:
            raise DataProblem("Two different people would get the same pseudonym; nothing was written. Use another key for a new log.")
        return made

    def __repr__(self) -> str:
        return f"<Key {self.fingerprint}>"


def digest(secret: bytes, message: bytes) -> bytes:
    """HMAC-SHA-256 (RFC 2104 with FIPS 180-4)."""
    return hmac.new(secret, message, hashlib.sha256).digest()


def spelled(text) -> str:
    """A name or number as it is hashed: Unicode NFKC (full-width and joined letters as plain ones), without case, runs of blanks as one blank,
    none at the ends. Nothing else is changed: 0042 is not 42, and a hyphen stays.

    >>> spelled("  DOE,\\u00a0 Jane ") == spelled("doe, jane"), spelled("0042") == spelled("42")
    (True, False)
    """
    return unicodedata.normalize("NFC", " ".join(unicodedata.normalize("NFKC", str(text)).split()).casefold())


def make_key(path: Path, *, beside=()) -> Key:
    """A new key in a file that only its owner can read. Raises Misuse where the file is there already or stands in a folder of ``beside``."""
    path = _apart(Path(path), beside)
    secret = secrets.token_bytes(_BYTES)
    body = f"{HEAD}\nfingerprint {Key(secret).fingerprint}\n{base64.b64encode(secret).decode('ascii')}\n"
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, stat.S_IRUSR | stat.S_IWUSR)
    except FileExistsError:
        raise Misuse(f"{path.name} is there already. A key is never written over: pseudonyms made with it could not be made again.") from None
    except OSError as problem:
        raise Misuse(f"The key {path.name} cannot be written: {problem.strerror or 'the system gave no reason'}. Give another folder.") from None
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(body)
    return Key(secret)


def read_key(path: Path, *, beside=()) -> Key:
    """The key in a file. Raises Misuse where it cannot be read, is none, was changed, or stands in a folder of ``beside``."""
    path = _apart(Path(path), beside)
    try:
        lines = path.read_text(encoding="ascii").splitlines()
    except FileNotFoundError:
        raise Misuse(f"There is no key {path.name}. Check the name; outcomes pseudonymise makes a key where none is there.") from None
    except (OSError, UnicodeDecodeError):
        raise Misuse(f"{path.name} cannot be read as a key of pseudonyms. Give the key's file.") from None
    if len(lines) < 3 or lines[0] != HEAD:
        raise Misuse(f"{path.name} is no key of pseudonyms. Give the key's file, or another name for a new key.")
    try:
        secret = base64.b64decode(lines[2], validate=True)
    except ValueError:
        secret = b""
    key = Key(secret)
    if len(secret) != _BYTES or lines[1] != f"fingerprint {key.fingerprint}":
        raise Misuse(f"The key {path.name} was changed or damaged: it does not fit its own fingerprint. Take it from a copy.")
    return key


def open_to_others(path: Path) -> str:
    """A sentence where others on this computer may read the key; else an empty text."""
    if os.name != "posix":
        return f"See to it that only you can open {Path(path).name}: this system does not let the program see or set that."
    return "" if not os.stat(path).st_mode & 0o077 else f"Others on this computer may read {Path(path).name}. Close it to them (chmod 600)."


def _apart(path: Path, beside) -> Path:
    folder = path.resolve().parent
    for other in beside:
        if other is not None and Path(other).resolve().parent == folder:
            raise Misuse(f"The key {path.name} stands in the same folder as {Path(other).name}. Keep the key apart, where only the person who may know the names can open it.")
    return path
