"""Secrets come from files that nobody else can read, or from the environment: never from the command line."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from lda_notes.files.system import contents
from lda_notes.problems import Failure

_LARGEST: Final = 1024 * 1024


def read_secret(path: Path, what: str) -> bytes:
    """Return the bytes of a file that contains a secret; ``what`` names it in sentences, such as "the token".

    Raises `Failure` when others may read or change it, or when it cannot be read.
    """
    try:
        data = contents(path, _LARGEST + 1)
        others = path.stat().st_mode & 0o077
    except OSError as error:
        raise Failure(f"{path}: {what} cannot be read ({error.strerror or error}); check the name") from None
    if others:
        raise Failure(f"{path}: users other than its owner can read {what}; run chmod 600 {path}")
    if not data.strip() or len(data) > _LARGEST:
        raise Failure(f"{path}: does not hold {what}; check the name")
    return data


def token_text(raw: str, where: str) -> str:
    """Return a bearer token without white space around it. Raises `Failure`, without the token, when it can be none."""
    token = raw.strip()
    if not token or not token.isascii() or not token.isprintable() or " " in token:
        raise Failure(f"{where} holds no bearer token: expected one word of ASCII characters")
    return token
