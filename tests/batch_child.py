"""The command line with the stand-in for the measurement: a process that tests may kill."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))  # works from a checkout, installed or not

from batch_tools import stand_in

from spraycheck.batch import scheduler
from spraycheck.cli.main import main

if __name__ == "__main__":
    scheduler.score = stand_in
    sys.exit(main(sys.argv[1:]))
