"""`python -m diagnose` is the same as `diagnose`."""

import sys

from .cli import main

sys.exit(main())
