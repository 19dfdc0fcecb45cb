"""``python -m spraycheck`` does what the ``spraycheck`` command does."""

from spraycheck.app.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
