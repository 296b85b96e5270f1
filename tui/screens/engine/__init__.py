"""Engine: all cylinders at a glance, their readings, and what the pattern says."""
