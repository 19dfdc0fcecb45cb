"""One module per command of the command line.

A command module has ``add_parser(commands)``, which adds its parser and sets ``run`` as its
default, and ``run(args)``, which returns the exit code. At the top it imports the standard library
only: everything heavy is imported inside ``run``, so that ``--help`` stays instant.
"""
