"""The edges: command line, photo reading, batch."""
