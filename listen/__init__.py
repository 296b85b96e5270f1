"""Everything of Hissway that is not a screen: usable alone, as a library and from the command line."""
