"""The project's own accuracy, speed and endurance figures, with peers side by side."""
