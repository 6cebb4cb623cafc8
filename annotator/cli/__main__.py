"""``python -m annotator.cli``: the ``crookline`` command."""

from annotator.cli import main

main()
