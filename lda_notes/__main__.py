"""``python -m lda_notes``."""

from lda_notes.cli import main

if __name__ == "__main__":
    main()
