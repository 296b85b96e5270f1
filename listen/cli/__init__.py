"""Commands: stdout is data, stderr is talk, exit codes mean something."""
