"""Shared by the tests of files, microphone and loudspeaker."""

from tests.sound_server import sound_server

__all__ = ["sound_server"]
