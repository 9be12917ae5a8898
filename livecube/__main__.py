"""``python -m livecube`` does what ``livecube`` does."""

from livecube.cli import main

if __name__ == "__main__":  # processes for reviews import this module again
    main()
