"""What the spray left on the card, measured blind to what is expected."""
