"""Jobs between machines: packed, unpacked, merged, signed, and everything they claim computed again."""
