"""``lda-notes schema``: the layout of a record for editors and other programs."""

from __future__ import annotations

import json

import click

from lda_notes.commands.printing import say


@click.command()
def command() -> None:
    """Print the JSON Schema of a record (draft 2020-12), with a description of each field.

    Editors use it to complete and explain keys: save it and name it in the editor's settings or at the top of a record.

    Example: lda-notes schema > record.schema.json
    """
    from lda_notes.record.schema import record_schema

    say(json.dumps(record_schema(), indent=2, ensure_ascii=False))
