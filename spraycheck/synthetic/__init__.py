"""Sprayed cards drawn from known physics and known truth, for training and tests."""
