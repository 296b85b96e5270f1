"""Which recording from a phone is which point, with the air off or on."""
