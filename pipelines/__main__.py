"""``python -m pipelines`` runs the command from a bare tree."""

import sys

from .command import main

sys.exit(main())
