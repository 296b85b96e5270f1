"""One voice: figures, names, verdicts and times become words here and nowhere else; every surface says them alike."""
