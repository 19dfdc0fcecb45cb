"""Nozzle and limits files: what a nozzle should do and what is tolerated, as TOML a person writes.

``files`` reads a nozzle, ``limits`` a set of limits, ``cabinet`` finds a nozzle by its name,
``writing`` makes new files; all tell mistakes through ``source``.
"""
