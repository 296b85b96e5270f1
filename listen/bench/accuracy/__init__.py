"""How well the judging works: every world by itself, paths named beside peers, detection depth, cover of intervals."""
