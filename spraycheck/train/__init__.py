"""Teaching material made by the simulator.

``lessons`` draws sprayed cards to order, with their truth, and the pages of the atlas; ``quiz``
trains and examines the reading of cards.
"""
