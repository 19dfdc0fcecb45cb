"""The first freeze: documents of known pictures, and the surface, as the first house gave them."""
