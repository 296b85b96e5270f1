"""The whole engine: readings, escape paths, plugs and symptoms weighed over causes, with the next cheapest check."""
