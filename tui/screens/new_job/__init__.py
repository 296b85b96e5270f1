"""New job: the engine described so that its points can be walked."""
