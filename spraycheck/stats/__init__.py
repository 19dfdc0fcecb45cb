"""Statistics: circular, uncertainty, conformity, repeatability, detection curves."""
