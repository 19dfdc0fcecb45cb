"""Sprayed cards drawn to order with their truth, and the lessons made of them.

``card_request`` says in plain words what is wanted, ``requested_scene`` turns that into something
to draw, ``truth_text`` says what is true about it, ``agreement`` holds the tool's answer against
it; ``lesson`` reads the pages of the atlas from ``lessons.toml``.
"""
