"""Findings before any rule can be asked: faults of a file's syntax and layout, each explained as a rule is."""

from __future__ import annotations

from typing import Final, NamedTuple

from lda_notes.problems import Severity


class Explained(NamedTuple):
    """A finding of the reader: what it says, why it matters, what to do."""

    name: str
    what: str
    why: str
    todo: str
    severity: Severity = "wrong"


READING: Final[tuple[Explained, ...]] = (
    Explained(
        "record-layout",
        "A value does not fit the record's layout: an unknown key, a wrong type, a word outside the vocabulary, a "
        "time without an offset.",
        "A value that does not fit was written but could not be read: it is neither recorded nor missing, so every "
        "document names it rather than dropping it silently.",
        "correct the value; `lda-notes schema` contains the whole layout",
    ),
    Explained(
        "entry-changed-after-signing",
        "An entry, or the patient, stay or port, was changed after an entry was signed: the seals do not match.",
        "A signed entry is corrected by an amendment, which keeps the original; a change made in the file itself "
        "leaves no other trace.",
        "compare with the copies beside the record, its printed notes and the server, and ask who changed it",
    ),
    Explained(
        "entry-removed-after-signing",
        "An entry that was in the record when a later one was signed is missing.",
        "What was done to the patient cannot be erased; an entry made in error is retracted and stays in the record.",
        "compare with the copies beside the record, its printed notes and the server, and ask who changed it",
    ),
    Explained(
        "entry-inserted-after-signing",
        "An entry precedes one that was signed before it existed.",
        "An entry that is written later is a late entry and comes at the end, with the time when it was made.",
        "compare with the copies beside the record, its printed notes and the server, and ask who changed it",
    ),
    Explained(
        "empty-file",
        "The file is empty.",
        "A failed copy can leave a file empty.",
        "restore it, or remove it",
    ),
    Explained(
        "not-a-mapping",
        "The file begins with a list or a single value; named entries were expected.",
        "Without names no one can tell what is patient, stay, port or event.",
        "begin with names such as patient:",
    ),
    Explained(
        "repeated-key",
        "An entry is written a second time in the same place.",
        "Two values for one fact contradict each other, and a reader that silently keeps one hides the other.",
        "keep one of the two",
    ),
    Explained(
        "several-documents",
        "A second document begins in the file.",
        "One file is one episode; a second document would belong to no one.",
        "put it into a file of its own",
    ),
    Explained(
        "key-not-text",
        "An entry has no name, or something other than a name where a name was expected.",
        "A value without a name cannot be placed.",
        "write the name before the colon",
    ),
    Explained(
        "leading-zero",
        "A number begins with a zero.",
        "It may be a number, a code or a time, and each would be read differently.",
        "drop the zero, put the code in quotes, or write a time as 08:00",
    ),
    Explained(
        "not-finite",
        "A number is infinite or not a number.",
        "No measurement produces such a value, and no total can include it.",
        "write the number that was measured",
    ),
    Explained(
        "number-too-long",
        "A number has more digits than any measurement would.",
        "It is an identifier without quotes, or a typing error.",
        "if it is an identifier, put it in quotes",
    ),
    Explained(
        "hidden-character",
        "The file contains control or direction marks that cannot be seen.",
        "Text with hidden marks can read differently on paper and on the screen.",
        "type the row again without them",
    ),
    Explained(
        "too-deep",
        "Values are nested more deeply than any record requires.",
        "Most often an indentation or a bracket is wrong further up.",
        "look for it above the place that is named",
    ),
    Explained(
        "too-large",
        "The file contains more than an episode can.",
        "A file of that size is not one episode.",
        "use one file for each episode",
    ),
    Explained(
        "too-many-faults",
        "The file has more syntax errors than are listed.",
        "One slip early in a file often causes many errors after it.",
        "correct those that are listed and run the check again",
    ),
    Explained(
        "json-syntax",
        "From this place on, the file is not valid JSON.",
        "Nothing after the error can be read.",
        "correct the place that is named",
    ),
    Explained(
        "yaml-syntax",
        "From this place on, the file is not valid YAML.",
        "Nothing after the error can be read.",
        "correct the place that is named",
    ),
    Explained(
        "yaml-tab",
        "A tab is used for indentation.",
        "YAML allows only spaces there, because tabs are wide in one editor and narrow in another.",
        "replace it with spaces",
    ),
    Explained(
        "yaml-number-sign",
        "A value in one row continues after a space and a number sign, such as bag #2.",
        "YAML treats what follows as a comment, so words of the chart would be lost silently.",
        "put the value in quotes",
    ),
    Explained(
        "typographic-quotes",
        "A value is in the curved quotation marks that word processors make.",
        "YAML recognizes only straight quotation marks; curved ones would become part of the value.",
        "type them again in a plain text editor",
    ),
    Explained(
        "yaml-alias",
        "The file uses a label to refer to another place in itself.",
        "Labels let a small file expand into an enormous one, and hide what an event really says.",
        "write the value out",
    ),
    Explained(
        "yaml-tag",
        "A value has a tag: an exclamation mark followed by a name.",
        "Tags change how a value is read; a record says what it means without them.",
        "remove the tag, or put the value in quotes",
    ),
    Explained(
        "yaml-version",
        "The file declares a YAML version other than 1.2.",
        "In older versions, no and 22:30 mean something else.",
        "remove the row that begins with %YAML",
    ),
    Explained(
        "correction-target",
        "A correction changes the identifier or the kind of an event.",
        "An event that could turn into another one could no longer be identified.",
        "retract the entry and chart it again",
    ),
    Explained(
        "correction-unreadable",
        "What a correction adds or sets does not fit the layout of the event that it corrects.",
        "The value that it was meant to replace may be the opposite, so neither the old value nor the new one is "
        "stated.",
        "correct the value in the correction",
    ),
)
"""Every finding that reading a record can give, with its explanation."""
