"""``python -m spraycheck`` does what the ``spraycheck`` command does."""

from spraycheck.cli.main import main

if __name__ == "__main__":
    raise SystemExit(main())
