"""The ear threshold: how faint a hiss one listener still hears over one background, and playing it with care."""
