"""``python -m setout``: the same as the command ``setout``."""

import sys

from setout.cli.command import main

sys.exit(main())
