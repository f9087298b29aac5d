"""``python -m setout``: the same as the command ``setout``."""

import sys

from setout.cli import main

sys.exit(main())
