"""Reads a file's bytes as YAML 1.2 or JSON: the same plain data, with the place of every value.

Neither reader raises on bad input: what is wrong with the file is listed in ``Parsed.faults``. The YAML parser is
imported only when YAML is read.
"""

from __future__ import annotations

from lda_notes.files.syntax.faults import MAX_BYTES, MAX_DEPTH, MAX_FAULTS, MAX_HIDDEN, MAX_NUMBER, MAX_VALUES, Fault
from lda_notes.files.syntax.json_reader import faultless_json, read_json
from lda_notes.files.syntax.tree import Parsed

__all__ = [
    "MAX_BYTES",
    "MAX_DEPTH",
    "MAX_FAULTS",
    "MAX_HIDDEN",
    "MAX_NUMBER",
    "MAX_VALUES",
    "Fault",
    "Parsed",
    "faultless_json",
    "read_json",
    "read_yaml",
]


def read_yaml(raw: bytes) -> Parsed:
    """Read one YAML 1.2 document (core schema, https://yaml.org/spec/1.2.2/#103-core-schema) whose whole is a mapping.

    Refused, each with a fault: repeated keys, anchors, aliases, merge keys, tags other than ``!!str``, a second
    document, numbers with a leading zero or that are not finite. ``data`` is None only where reading had to stop.
    """
    from lda_notes.files.syntax.yaml_reader import compose

    return compose(raw)
