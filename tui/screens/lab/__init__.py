"""The lab: drills, the ear's threshold, scores."""
