"""``python -m livecube`` does what ``livecube`` does."""

from livecube.cli import main

main()
