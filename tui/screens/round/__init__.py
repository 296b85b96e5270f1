"""Round: one cylinder, one step at a time; the face of the product."""
