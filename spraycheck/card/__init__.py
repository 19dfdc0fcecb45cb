"""The target card: found in the photo, made flat, and the printed card that is drawn and read."""
