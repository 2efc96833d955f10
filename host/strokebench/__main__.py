"""``python -m strokebench`` is the command line."""

import sys

from strokebench.cli import main

sys.exit(main())
