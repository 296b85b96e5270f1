"""Hit rate: what ear and program had said before the teardowns, against what the teardowns showed."""
