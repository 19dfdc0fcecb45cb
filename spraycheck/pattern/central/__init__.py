"""Nozzles that spray along their own axis: one central patch, measured and judged by itself."""

from spraycheck.pattern.central.nozzle import CentralNozzle

__all__ = ["CentralNozzle"]
