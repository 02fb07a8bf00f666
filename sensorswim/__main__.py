"""Lets ``python -m sensorswim`` do what ``sensorswim`` does."""

import sys

from sensorswim.cli import main

if __name__ == "__main__":
    sys.exit(main())
