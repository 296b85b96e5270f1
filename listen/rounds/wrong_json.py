"""What is wrong in a ``round.json``, in plain words: the key, and what is wanted there."""

import re

import msgspec

_EXPECTED = re.compile(r"Expected `(\w+)[^`]*`(?: of length (\d+))?(?: ([<>]=?) ([-+.\de]+))?(?:, got `(\w+)`)?")
_AT = re.compile(r" - at `\$\.?([^`]*)`$")
WANTED = {
    "float": "a number",
    "int": "a whole number",
    "bool": "true or false",
    "str": "text in quotes",
    "array": "a list in [ ]",
    "object": "names with values in { }",
    "null": "nothing",
}
"""By the decoder's own words."""
LIMITS = {"<=": "at most", ">=": "at least", ">": "above", "<": "below"}
FRACTION = "a fraction"
"""A number where a whole one is wanted."""


def in_words(error: msgspec.DecodeError | RecursionError) -> str:
    """What is wrong, without a full stop."""
    if isinstance(error, RecursionError):
        return "it is nested too deep"
    text = str(error)
    at = _AT.search(text)
    what = text[: at.start()] if at else text
    if not (m := _EXPECTED.fullmatch(what)):
        what = what.replace("JSON is malformed:", "it is no JSON,").replace("Input data was truncated", "it ends early")
        return f"{_key(at[1])}: {what[:1].lower()}{what[1:]}" if at else what
    wanted, length, sign, limit, got = m.groups()
    words = WANTED.get(wanted, wanted)
    if length:
        words += f" with {length} entries"
    if sign:
        words += f" {LIMITS[sign]} {float(limit):g}"
    if got:
        words += f", not {FRACTION if (wanted, got) == ('int', 'float') else WANTED.get(got, got)}"
    return f"{_key(at[1]) if at else 'the file'} wants {words}"


def _key(path: str) -> str:
    """A place in the file as a reader finds it: entries are counted from 1."""
    return re.sub(r"\[(\d+)\]", lambda m: f" entry {int(m[1]) + 1}", path.replace("[...]", ""))
