"""The outside world: microphone, loudspeaker, sound files; the only room that knows sounddevice and soundfile."""
