"""Where the program starts: Ctrl-C while it still loads ends it in a word, too."""

from __future__ import annotations

import sys


def main() -> None:
    """Load the program and run it."""
    try:
        from lda_notes.cli import main as run
    except KeyboardInterrupt:
        sys.stderr.write("\nStopped.\n")
        sys.exit(130)
    run()


if __name__ == "__main__":
    main()
