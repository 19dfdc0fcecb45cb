"""What is expected and tolerated, and the verdict."""
