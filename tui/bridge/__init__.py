"""Bridges between threads and screens: the microphone, the analyst and the loudspeaker seen from the screen's side."""
