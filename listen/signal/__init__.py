"""From samples to numbers: clip, quality, bands, excess over quiet, bubbles."""
