"""Screens, one folder each: what a person comes for, with its own style sheet and help."""
