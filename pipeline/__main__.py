"""``python -m pipeline`` is the command ``wellstring``."""

from pipeline.cli import main

main()
