"""``python -m tui`` is the same as ``hissway``."""

import sys

from tui.entry import main

if __name__ == "__main__":
    sys.exit(main())
