"""A round made from a stated truth: shop, leaks, points, microphone, and the clips they come to."""
