"""The quiz on reading cards: what is asked, how answers are scored and kept, what they say.

Read ``kinds`` for what is asked and how plain it is made, ``selection`` for which questions follow,
``question`` for how they are drawn, ``score`` for right and wrong, ``record`` and ``results_file``
for what is kept, ``progress`` for what many answers say about a person; ``session`` asks in a
terminal, ``page`` in a browser without a network.
"""
