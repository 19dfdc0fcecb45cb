"""The hand-lever test around the photo."""
