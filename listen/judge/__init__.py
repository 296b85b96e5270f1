"""From numbers to an escape path: hypotheses, weight of evidence, verdict, next-best recording."""
