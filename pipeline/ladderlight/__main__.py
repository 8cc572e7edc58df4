"""``python -m ladderlight``."""

import sys

from ladderlight.commands import main

sys.exit(main())
