"""`python -m bedplate.cli`."""

from __future__ import annotations

import sys

from bedplate.cli.main import main

sys.exit(main())
