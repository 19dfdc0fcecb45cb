"""Nozzle and limits files: what a nozzle should do and what is tolerated, as TOML a person writes.

``model`` is what a nozzle is, ``read`` reads its file and limits files, ``library`` finds a nozzle
by its name, ``card_codes`` by the code on a card, ``write`` makes new files. ``schema`` declares
what a file may hold; ``toml_file`` and ``lines`` tell every mistake with its place.
"""
