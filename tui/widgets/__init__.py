"""Widgets: given values, they draw them and post messages; they reckon nothing and know no job."""
