"""The photo pipeline, one module per stage; start reading in ``containers``."""
