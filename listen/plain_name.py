"""Names that any file system takes, from whatever a person typed."""

import re
import unicodedata


def plain_name(text: str, most: int = 40) -> str:
    """Small ASCII letters and digits with single dashes between, ``most`` at most; empty where the text has none."""
    # Decomposed first: of an accented letter the plain one stays.
    ascii_only = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", ascii_only).strip("-")[:most].rstrip("-")
