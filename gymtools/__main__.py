"""``python -m gymtools``: the command line."""

import sys

from .command_line.entry import main

if __name__ == "__main__":
    sys.exit(main())
