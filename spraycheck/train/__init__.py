"""Teaching material made by the simulator: demonstration pictures, atlas and handout.

``wishes`` says in plain words what is wanted, ``scenes`` turns that into something to draw,
``telling`` says what is true about it, ``comparing`` holds the tool's answer against it;
``lessons`` lists the pages of the atlas and ``building`` makes them.
"""
